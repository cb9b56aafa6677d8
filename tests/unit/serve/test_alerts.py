"""Alerts over HTTP and by the forms of their pages: found, acknowledged, shelved, taken back, refused."""

from __future__ import annotations

import csv
import io
import re
from dataclasses import replace

import pytest
from sqlalchemy import delete

from swarfline.alerts import URGENT, Alert
from swarfline.store import Batch, tables

from .entering import HOST, Writer
from .signed import Works
from .test_page import Reader
from .works import ALERT, HOUR, MINUTE, NOW, works

SHELVED_UNTIL_END_OF_SHIFT = "2026-03-10T14:00:00+01:00"
LOST = Alert("connection_lost", "", "server/line", URGENT, "Server line is not connected", NOW - MINUTE)


class Desk(Writer):
    """A client of one application, made once; its alerts are as at first before each test."""

    def __init__(self, folder):
        self.clock = [NOW]
        app, self.store = works(folder, clock_us=lambda: self.clock[0])
        super().__init__(app)
        self.board = app.state.boards["en"]

    def begin(self):
        self.clock[0] = NOW
        with self.store.engine.begin() as connection:
            for table in (tables.alert_events, tables.alerts):
                connection.execute(delete(table))
        self.store.writer().commit(Batch(raised=[ALERT]))


@pytest.fixture(scope="module")
def desk(tmp_path_factory):
    made = Desk(tmp_path_factory.mktemp("desk"))
    yield made
    made.store.close()


@pytest.fixture
def writing(desk):
    desk.begin()
    return desk


def act(writing, path, status=200, **body):
    answer = writing.enter(f"alerts/{path}", **body)
    assert answer.status_code == status, answer.text
    return answer.json()


def commit(writing, **more):
    writing.store.writer().commit(Batch(**more))


def stored(writing, number=1):
    return writing.store.queries.alert(number)


def kinds(told):
    return [event["event"] for event in told["events"]]


def test_an_alert_tells_how_it_stands(writing):
    (row,) = writing.told("alerts")["items"]
    assert (row["number"], row["machine"], row["times"]) == (1, "N1", 1)
    assert row["raised"] == row["raised_last"] == "2026-03-10T11:00:00+01:00"
    assert (row["cleared"], row["acknowledged"], row["shelved"]) == (None, None, None)


def test_acknowledged(writing):
    told = act(writing, "1/acknowledge", note="new one is set", severity="warning")
    assert told["acknowledged"] == {"at": "2026-03-10T12:00:00+01:00", "who": "Ana", "note": "new one is set"}
    assert kinds(told) == ["raised", "acknowledged"]
    assert writing.told("alerts/1") == told
    assert writing.told("alerts", unacknowledged="true")["items"] == []
    assert len(writing.told("alerts", standing="true")["items"]) == 1


def test_the_second_is_told_who_was_first(writing):
    act(writing, "1/acknowledge")
    told = act(writing, "1/acknowledge", 409, who="Luis")
    assert told["detail"] == "Alert 1 was acknowledged by Ana at 2026-03-10T12:00:00+01:00 already."


def test_what_has_become_more_severe_is_not_acknowledged_unseen(writing):
    commit(writing, changed=[replace(stored(writing), severity=URGENT, changed_us=NOW)])
    told = act(writing, "1/acknowledge", 409, severity="warning")
    assert told["detail"] == "Alert 1 has become more severe: urgent now. Look again."
    assert act(writing, "1/acknowledge", severity="urgent")["acknowledged"]["who"] == "Ana"


@pytest.mark.parametrize(("path", "body"), [("1/acknowledge", {}), ("1/shelve", {"minutes": 5})])
def test_what_was_cleared_is_left_alone(writing, path, body):
    commit(writing, changed=[replace(stored(writing), cleared_us=NOW)])
    assert act(writing, path, 409, **body)["detail"] == "Alert 1 was cleared at 2026-03-10T12:00:00+01:00 already."
    assert kinds(writing.told("alerts/1")) == ["raised", "cleared"]


@pytest.mark.parametrize(
    ("body", "until"),
    [
        ({"minutes": 30}, "2026-03-10T12:30:00+01:00"),
        ({"minutes": 0.5}, "2026-03-10T12:00:30+01:00"),
        ({"until": "2026-03-10T12:30:00Z"}, "2026-03-10T13:30:00+01:00"),
        ({"until": "shift"}, SHELVED_UNTIL_END_OF_SHIFT),
        ({"minutes": 72 * 60}, "2026-03-13T12:00:00+01:00"),
    ],
)
def test_shelved_with_an_end(writing, body, until):
    told = act(writing, "1/shelve", note="waits for parts", **body)
    assert told["shelved"] == {
        "until": until, "at": "2026-03-10T12:00:00+01:00", "who": "Ana", "note": "waits for parts",
    }  # fmt: skip
    assert [a["number"] for a in writing.told("alerts", shelved="true")["items"]] == [1]


@pytest.mark.parametrize(
    ("body", "names"),
    [
        ({}, "minutes"),
        ({"minutes": 5, "until": "shift"}, "until"),
        ({"minutes": 0}, "minutes"),
        ({"minutes": 72 * 60 + 1}, "minutes"),
        ({"until": "2026-03-10T12:00:00+01:00"}, "until"),
        ({"until": "tomorrow"}, "until"),
        ({"minutes": 5, "who": " "}, "who"),
        ({"minutes": 5, "who": "A\nB"}, "who"),
        ({"minutes": 5, "note": "x" * 1001}, "note"),
        ({"minutes": 5, "colour": "red"}, "colour"),
    ],
)
def test_no_other_shelving(writing, body, names):
    assert names in [error["parameter"] for error in act(writing, "1/shelve", 422, **body)["errors"]]
    assert stored(writing).shelved is None


def test_no_shift_no_end_of_it(writing):
    writing.clock[0] += 10 * HOUR
    assert "no shift runs" in act(writing, "1/shelve", 422, until="shift")["errors"][0]["detail"]


def test_at_its_end_it_is_back_by_itself(writing):
    act(writing, "1/shelve", minutes=30)
    writing.clock[0] += 30 * MINUTE
    told = writing.told("alerts/1")
    assert (told["shelved"], kinds(told)) == (None, ["raised", "shelved", "shelving_ended"])
    assert told["events"][-1]["at"] == "2026-03-10T12:30:00+01:00"
    assert act(writing, "1/unshelve", 409)["detail"] == "Alert 1 is not shelved (any more)."


def test_taken_back_from_the_shelf(writing):
    act(writing, "1/shelve", minutes=30)
    told = act(writing, "1/unshelve", who="Luis", note="part is here")
    assert (told["shelved"], kinds(told)) == (None, ["raised", "shelved", "unshelved"])
    assert (told["events"][-1]["who"], told["events"][-1]["note"]) == ("Luis", "part is here")


@pytest.mark.parametrize("path", ["acknowledge", "unacknowledge", "shelve", "unshelve"])
def test_there_is_no_such_alert(writing, path):
    assert (
        "There is no alert '99'"
        in act(writing, f"99/{path}", 404, **{"minutes": 5} if path == "shelve" else {})["detail"]
    )
    assert writing.get("/api/v1/alerts/99").status_code == 404


def test_another_origin_or_no_json_is_refused(writing):
    url, json = "/api/v1/alerts/1/acknowledge", {"who": "Ana"}
    elsewhere = {"host": HOST, "origin": "https://elsewhere.example"}
    assert writing.post(url, json=json, headers=elsewhere).status_code == 403
    assert writing.post(url, data=json, headers={"host": HOST}).status_code == 415
    assert stored(writing).acknowledged is None


def test_alerts_of_a_server_belong_to_no_machine(writing):
    commit(writing, raised=[LOST])
    (row,) = writing.told("alerts", severity="urgent")["items"]
    assert (row["machine"], row["subject"]) == (None, "server/line")
    assert [a["number"] for a in writing.told("alerts", machine="N1")["items"]] == [1]
    assert [a["number"] for a in writing.told("alerts", rule="tool_near_limit")["items"]] == [1]
    assert refused_rule(writing) == 422


def refused_rule(writing):
    return writing.get("/api/v1/alerts", params={"rule": "none_of_ours"}).status_code


def test_as_a_table(writing):
    act(writing, "1/acknowledge", note="=1+1")
    table = list(csv.DictReader(io.StringIO(writing.get("/api/v1/alerts.csv").text)))
    assert (table[0]["acknowledged_who"], table[0]["acknowledged_note"]) == ("Ana", "'=1+1")
    assert table[0]["shelved_until"] == ""


def test_the_board_shows_the_most_urgent_first_and_leaves_out_what_is_shelved(writing):
    commit(writing, raised=[LOST])
    board = writing.board
    assert [a["number"] for a in board.look()["alerts"]] == [2, 1]
    act(writing, "2/shelve", minutes=30)
    look = board.look()
    assert [(a["number"], a["said"]["state"]) for a in look["alerts"]] == [
        (1, "not acknowledged"),
        (2, "shelved until 12:30 by Ana"),
    ]
    assert (look["cells"]["plant.alerts"], look["cells"]["plant.alerts.shelved"]) == ("1", "1")
    page = writing.get("/").text
    assert ALERT.text in page and LOST.text not in page
    assert 'href="/alerts#alert-1"' in page


def test_a_flood_of_alerts_keeps_the_pages_short(writing):
    commit(writing, raised=[replace(LOST, subject=f"server/{n}", text=f"Lost {n:03}") for n in range(150)])
    look = writing.board.look()
    assert len(look["alerts"]) == 100
    assert (look["cells"]["plant.alerts"], look["cells"]["plant.alerts.more"]) == ("151", "and 143 more")
    first, page = writing.get("/").text, text_of(writing.get("/alerts"))
    assert first.count("alerts#alert-") == 8 and "and 143 more" in first
    assert "and 51 more, less urgent; the CSV has all" in page and "Standing: 151" in page
    # those that were raised last come first, and the warning last of all
    assert "Tool 7" not in page.partition("Shelved")[0]


# the pages


def form(writing, path, status=303, **fields):
    headers = {"host": HOST, "origin": f"http://{HOST}", "accept": "text/html"}
    answer = writing.post(f"/alerts/{path}", data={"back": "/alerts", "who": "Ana", **fields}, headers=headers)
    assert answer.status_code == status, answer.text
    return answer


def text_of(answer):
    return " ".join(re.sub("<[^>]*>", " ", answer.text).split())


def test_acknowledged_by_form(writing):
    assert "Acknowledge" in writing.get("/alerts").text
    answer = form(writing, "1/acknowledge", note="new one is set", severity="warning")
    assert answer.headers["location"] == "/alerts?seen-to=1#alert-1"
    assert stored(writing).acknowledged.note == "new one is set"
    page = text_of(writing.get("/alerts"))
    assert "of these not acknowledged: 0" in page
    assert "acknowledged by Ana : new one is set" in page


@pytest.mark.parametrize(("end", "until"), [("shift", "14:00"), ("30", "12:30")])
def test_shelved_by_form_and_back(writing, end, until):
    form(writing, "1/shelve", end=end, note="waits for parts")
    page = text_of(writing.get("/alerts"))
    assert "No alert stands." in page and f"shelved until {until} by Ana : waits for parts" in page
    form(writing, "1/unshelve")
    assert "None is set aside." in text_of(writing.get("/alerts"))


def test_what_a_form_says_wrong_is_told_beside_it_and_kept(writing):
    answer = form(writing, "1/acknowledge", 422, who=" ", note="<b>new</b>")
    Reader(answer.text)
    assert (
        "Not done. Your name: tell who enters this" in text_of(answer)
        and 'value="&lt;b&gt;new&lt;/b&gt;"' in answer.text
    )
    assert "Not done. for how long: is no whole number" in text_of(form(writing, "1/shelve", 422, end="soon"))
    assert form(writing, "99/acknowledge", 404)


def test_a_form_that_comes_too_late_says_so(writing):
    commit(writing, changed=[replace(stored(writing), cleared_us=NOW)])
    assert "was cleared at" in text_of(form(writing, "1/acknowledge", 409))


def test_a_form_never_leads_away(writing):
    answer = form(writing, "1/acknowledge", back="https://elsewhere.example/")
    assert answer.headers["location"] == "/alerts?seen-to=1#alert-1"


def test_a_form_leads_back_to_its_alert_which_says_what_was_done(writing):
    back = "/alerts?span=day&at=2026-03-10T12%3A00%3A00%2B01%3A00&seen-to=7"
    steps = [
        ("acknowledge", {}, "Acknowledged by Ana, 12:00"),
        ("unacknowledge", {}, "Acknowledgement taken back by Ana, 12:00"),
        ("shelve", {"end": "30"}, "Shelved by Ana, 12:00"),
        ("unshelve", {}, "Taken back from the shelf by Ana, 12:00"),
    ]
    for act_, fields, told in steps:
        where = form(writing, f"1/{act_}", back=back, **fields).headers["location"]
        assert where == back.replace("seen-to=7", "seen-to=1#alert-1")
        page = writing.get(where).text
        (item,) = re.findall(r'<li class="alert" id="alert-1" tabindex="-1".*?</li>', page, re.S)
        assert f'role="status">{told}</p>' in item and page.count(told) == 1
    assert 'value="/alerts?span=day&amp;at=2026-03-10T12%3A00%3A00%2B01%3A00"' in page, "the next form forgets it"
    assert told in writing.get("/alerts/1?seen-to=1").text
    for other in ("2", "x", "9" * 30, ""):
        assert "by Ana, 12:00" not in writing.get(f"/alerts?seen-to={other}").text
    writing.clock[0] = NOW + 6 * MINUTE
    assert told not in writing.get("/alerts?seen-to=1").text, "a page that stays open does not say it for ever"


def test_what_was_done_is_told_of_an_alert_that_is_not_in_the_list_any_more(writing):
    where = form(writing, "1/acknowledge").headers["location"]
    commit(writing, changed=[replace(stored(writing), cleared_us=NOW)])
    page = writing.get(where).text
    assert re.search(r'role="status" id="alert-1" tabindex="-1">Acknowledged by Ana, 12:00', page)


def test_the_name_of_a_form_is_kept_for_the_others(writing):
    answer = form(writing, "1/acknowledge", who="Ana Ruiz")
    assert "who=Ana%20Ruiz;" in answer.headers["set-cookie"] and "HttpOnly" in answer.headers["set-cookie"]
    assert "set-cookie" not in form(writing, "1/shelve", 422, end="soon").headers
    assert 'value="Ana Ruiz"' in writing.get("/alerts", headers={"cookie": "who=Ana%20Ruiz"}).text


def test_an_acknowledgement_is_taken_back(writing):
    assert act(writing, "1/unacknowledge", 409, who="Ana")["detail"] == "Alert 1 is not acknowledged (any more)."
    act(writing, "1/acknowledge", who="Ana")
    told = act(writing, "1/unacknowledge", who="Luis", note="wrong machine")
    assert (told["acknowledged"], kinds(told)) == (None, ["raised", "acknowledged", "unacknowledged"])
    assert (told["events"][-1]["who"], told["events"][-1]["note"]) == ("Luis", "wrong machine")
    assert "acknowledgement taken back Luis: wrong machine" in text_of(writing.get("/alerts/1"))


def test_the_name_kept_in_this_browser_stands_in_the_form(writing):
    page = writing.get("/alerts", headers={"cookie": "who=Ana%20Ruiz"})
    assert 'value="Ana Ruiz"' in page.text


@pytest.fixture(scope="module")
def signed(tmp_path_factory):
    made = Works(tmp_path_factory.mktemp("signed"))
    yield made
    made.store.close()


def test_whoever_is_signed_in_does_it_and_nobody_in_another_name(signed):
    otto, vera = signed.by_session("operator"), signed.by_session("viewer")
    assert 'action="/alerts/1/acknowledge"' not in vera.get("/alerts").text
    page = otto.get("/alerts").text
    assert 'action="/alerts/1/acknowledge"' in page and 'name="who"' not in page
    assert vera.form("/alerts/1/acknowledge").status_code == 403
    assert otto.form("/alerts/1/acknowledge", who="Vera").status_code == 422
    assert otto.enter("alerts/1/acknowledge", who="Vera").status_code == 422
    assert otto.form("/alerts/1/acknowledge", note="seen").status_code == 303
    assert signed.store.queries.alert(1).acknowledged.who == "Otto"


def test_an_alert_on_its_own_page(writing):
    form(writing, "1/acknowledge", note="new one is set")
    page = writing.get("/alerts/1")
    Reader(page.text)
    assert "acknowledged Ana: new one is set" in text_of(page)
    assert "What happened" in page.text
    assert writing.get("/alerts/99", headers={"accept": "text/html"}).status_code == 404


def test_names_of_people_and_texts_of_machines_are_text(writing):
    commit(writing, raised=[replace(LOST, text="<script>alert(1)</script>")])
    form(writing, "1/acknowledge", who="<i>Ana</i>")
    for path in ("/alerts", "/alerts/2", "/alerts/1", "/"):
        page = writing.get(path).text
        assert "<script>alert" not in page and "<i>" not in page


def test_the_history_of_a_span(writing):
    assert ALERT.text in writing.get("/alerts").text.partition('id="history-title"')[2]
    before = writing.get("/alerts", params={"span": "day", "at": "2026-03-09T12:00:00+01:00"})
    assert "No alert stood in this time." in before.text


def test_alerts_of_the_plant_and_of_machines_that_are_gone_are_shown(writing):
    gone = replace(LOST, machine="N9", subject="P1/1", text="gone")
    commit(writing, raised=[LOST, gone, replace(LOST, subject="plant", text="All lost")])
    page = writing.get("/alerts")
    Reader(page.text)
    assert "server line" in text_of(page) and "Irrigation works" in text_of(page)
    assert "/machines/N9" not in page.text and "N9" in page.text


def test_the_page_says_that_an_alert_is_no_safety_function(client):
    assert "An alert is information, not a safety function." in client.get("/alerts").text
