"""Forms of a machine's page without scripts: two taps name a stop, undo is offered at once, mistakes stay beside
their field, the name is kept. Cookies by RFC 6265, the answer to a form by RFC 9110 (303 See Other)."""

from __future__ import annotations

import html
import re
from urllib.parse import quote, urlencode

import pytest

from swarfline.facts import WAITING, Condition
from swarfline.store import Batch

from .entering import HOST, Writer
from .works import HOUR, MIDNIGHT, NOW, works

ORIGIN = {"host": HOST, "origin": f"http://{HOST}", "content-type": "application/x-www-form-urlencoded"}
STOP = "2026-03-10T11:00:00+01:00"


@pytest.fixture
def stood(tmp_path):
    """The works in which S1 waited from 09:00 to 12:00, without a reason, and earlier stops were named."""
    made, store = works(tmp_path)
    store.writer().commit(Batch(facts=[Condition("S1", MIDNIGHT - 16 * HOUR, MIDNIGHT - 15 * HOUR, WAITING)]))
    yield Writer(made)
    store.close()


def send(writer, path, cookie="", **fields):
    headers = {**ORIGIN, **({"cookie": cookie} if cookie else {})}
    body = urlencode({name.rstrip("_"): value for name, value in fields.items()})
    return writer.post(path, content=body, headers=headers)


def text_of(answer):
    return re.sub(r"\s+", " ", html.unescape(re.sub("<[^>]*>", " ", answer.text)))


def page(writer, path="/machines/S1", cookie=""):
    return writer.get(path, headers={"accept": "text/html", **({"cookie": cookie} if cookie else {})})


def test_two_taps_name_a_stop_and_undo_is_offered_at_once(stood):
    first = page(stood)
    stop = re.search(r'name="stop" value="([^"]+)"', first.text)[1]
    back = html.unescape(re.search(r'name="back" value="([^"]+)"', first.text)[1])
    answer = send(stood, "/machines/S1/stop-reasons", stop=stop, reason="No castings", who="Ana", back=back)
    assert answer.status_code == 303
    address = answer.headers["location"]
    assert address.startswith("/machines/S1?span=day&entered=1") and address.endswith("#entered")
    (made,) = stood.told("stop-entries")["items"]
    assert (made["reason"], made["who"], made["stop"]) == ("No castings", "Ana", stop)
    after = page(stood, address.split("#")[0], "who=Ana")
    assert "Entered: Stop, No castings" in text_of(after)
    assert 'role="status"' in after.text and 'action="/entries/1/undo"' in after.text
    assert "No castings Ana, 12:00" in text_of(after)
    undone = send(stood, "/entries/1/undo", "who=Ana", back=address)
    assert undone.status_code == 303 and "entered=" not in undone.headers["location"]
    assert stood.told("stop-entries")["items"][0]["undone_by"] == "Ana"
    assert "Undone: Stop, No castings" in text_of(page(stood, undone.headers["location"].split("#")[0]))


def forms_of_stops(answer):
    return [part.split("</details>")[0] for part in answer.text.split('<details name="stop"')[1:]]


def test_a_stop_asks_once_for_a_name_which_holds_for_each_of_its_buttons(stood):
    stop = stood.told("machines/S1/stops")["items"][0]["start"]
    stood.entered("machines/S1/stop-reasons", stop=stop, reason="No castings")
    shown = page(stood)
    named = next(part for part in forms_of_stops(shown) if "entries/1/undo" in part)
    assert named.count('name="who"') == named.count("<form") == 1
    buttons = re.findall(r"<button([^>]*)>", named)
    # HTML, 4.10.21.2: Enter presses the first button of a form, which must not choose a reason
    assert 'name="reason"' not in buttons[0] and "formaction" not in buttons[0]
    assert any("formaction" in button for button in buttons)
    assert sum('value="No castings"' in button for button in buttons) == 1
    # the name is asked for before anything that can be pressed with it
    assert named.index('name="who"') < named.index("formaction") < named.index('class="choices"')


@pytest.mark.parametrize(
    ("told", "reason"),
    [
        ({"reason": "Lunch", "other": ""}, "Lunch"),
        ({"reason": "Lunch", "other": "half a w"}, "Lunch"),
        ({"other": " Chips in the door "}, "Chips in the door"),
    ],
)
def test_a_button_gives_its_reason_and_enter_the_one_that_was_typed(stood, told, reason):
    stop = stood.told("machines/S1/stops")["items"][0]["start"]
    answer = send(stood, "/machines/S1/stop-reasons", stop=stop, who="Ana", **told)
    assert answer.status_code == 303
    assert stood.told("stop-entries")["items"][0]["reason"] == reason


def test_enter_in_the_field_of_the_name_gives_no_reason_at_all(stood):
    stop = stood.told("machines/S1/stops")["items"][0]["start"]
    answer = send(stood, "/machines/S1/stop-reasons", stop=stop, who="Ana", other="")
    assert answer.status_code == 422 and "Reason: is missing" in text_of(answer)
    (again,) = [part for part in forms_of_stops(answer) if part.split(">")[0].endswith("open")]
    assert 'value="Ana"' in again and 'aria-invalid="true"' in again
    assert stood.told("stop-entries")["items"] == []


def test_the_name_is_kept_and_checked(stood):
    answer = send(stood, "/machines/S1/who", who=" José Ángel ")
    (cookie,) = answer.headers.get_list("set-cookie")
    assert answer.status_code == 303
    assert cookie.startswith(f"who={quote('José Ángel')};")
    assert {"HttpOnly", "Path=/", "SameSite=strict"} <= {part.strip() for part in cookie.split(";")}
    kept = page(stood, cookie=cookie.split(";")[0])
    assert "Entered as José Ángel" in text_of(kept)
    for bad in ("who=", "who=%00x", "who=" + "x" * 81, "who=%ff"):
        assert "Entered as" not in text_of(page(stood, cookie=bad))
    without = send(stood, "/machines/S1/notes", text="x")
    assert without.status_code == 422 and stood.told("notes")["items"] == []


def test_likely_reasons_come_first(tmp_path):
    plant = tmp_path / "plant.toml"
    made, store = works(tmp_path)
    more = """
[[stop_reasons]]
reason = "Door"
conditions = ["fault"]
by_hand = true
[[stop_reasons]]
reason = "No castings"
conditions = ["waiting"]
by_hand = true
[[stop_reasons]]
reason = "Elsewhere"
machines = ["N1"]
by_hand = true
"""
    plant.write_text(plant.read_text() + more)
    from swarfline.plant import load
    from swarfline.serve import create_app

    writer = Writer(create_app(load(plant), store, clock_us=lambda: NOW))

    def offered():
        choices = re.search(r'<div class="choices">(.*?)</div>', page(writer).text)[1]
        return re.findall(r'value="([^"]+)"', choices)

    assert offered() == ["No castings", "Door"]
    stop = writer.told("machines/S1/stops")["items"][0]["start"]
    assert {s["reason"] for s in writer.told("machines/S1/stops")["items"]} == {""}, (
        "a choice gives itself to none"
    )
    for reason in ("Lunch", "Lunch", "Meeting"):
        writer.entered("machines/S1/stop-reasons", stop=stop, reason=reason)
    writer.enter("entries/3/undo")
    assert offered() == ["Lunch", "No castings", "Door"]
    store.close()
    assert made is not None


def test_parts_are_judged(writing):
    answer = send(writing, "/machines/N1/judgements", kind="scrap", quantity=" 3 ", part="", time="", who="Ana")
    assert answer.status_code == 303
    (made,) = writing.told("judgements")["items"]
    assert (made["kind"], made["quantity"], made["part"], made["who"]) == ("scrap", 3, "PH-12", "Ana")
    # a field of time is in the plant's zone
    send(
        writing,
        "/machines/N1/judgements",
        kind="rework",
        quantity=1,
        part="PH-12",
        time="2026-03-10T09:00",
        who="A",
    )
    assert writing.told("judgements")["items"][0]["to"] == "2026-03-10T09:00:00.000001+01:00"
    assert "Scrap: 3 PH-12" in text_of(page(writing, "/machines/N1"))


def test_a_note_is_shown_on_the_timeline_and_a_target_with_the_machine(writing):
    send(writing, "/machines/N1/notes", text="New <b>batch</b>", time="2026-03-10T08:00", who="Ana")
    send(writing, "/machines/N1/notes", text="Trial", time="2026-03-10T07:00", to="2026-03-10T07:30", who="Ana")
    send(writing, "/machines/N1/targets", quantity=230, span="shift", part="PH-12", who="Luis")
    told = [(n["text"], n["from"][11:16], n["to"][11:16]) for n in writing.told("notes")["items"]]
    assert told == [("Trial", "07:00", "07:30"), ("New <b>batch</b>", "08:00", "08:00")]
    shown = page(writing, "/machines/N1")
    assert "New &lt;b&gt;batch&lt;/b&gt; (Ana)" in shown.text and "<b>batch" not in shown.text
    text = text_of(shown)
    assert "Target as entered" in text and "of 230 parts, 120 to go" in text
    assert "Target: 230 PH-12" in text
    assert re.search(r'class="l-note" d="M[^"]+"', shown.text)


def test_a_target_of_another_span(writing):
    fields = {"from": "2026-03-11T06:00", "to": "2026-03-11T14:00"}
    assert send(writing, "/machines/N1/targets", quantity=9, span="", who="Ana", **fields).status_code == 303
    (made,) = writing.told("targets", **{"from": "2026-03-10T00:00:00Z", "to": "2026-03-12T00:00:00Z"})["items"]
    assert (made["from"], made["to"]) == ("2026-03-11T06:00:00+01:00", "2026-03-11T14:00:00+01:00")


@pytest.mark.parametrize(
    ("path", "fields", "said"),
    [
        ("notes", {"text": " "}, "What is to be known: is missing"),
        ("notes", {"text": "x", "time": "soon"}, "is no time"),
        ("notes", {"text": "x", "time": "2026-03-10T13:00"}, "lies ahead"),
        ("judgements", {"kind": "scrap", "quantity": "many"}, "is no whole number"),
        ("judgements", {"kind": "scrap", "quantity": 500}, "500 cannot become scrap"),
        ("judgements", {"quantity": 1}, "The parts are: is missing"),
        ("targets", {"quantity": 5, "part": "ZZ", "span": "shift"}, "neither in the plant file"),
        ("targets", {"quantity": -5, "span": "shift"}, "Quantity: must be at least 0"),
        ("stop-reasons", {"stop": "2026-03-10T07:00:00+01:00", "reason": "x"}, "no stop at that time"),
        (
            "stop-reasons",
            {"stop": "2026-03-10T10:10:00+01:00", "reason": "x" * 201},
            "is longer than 200 characters",
        ),
        ("who", {"who": ""}, "Your name: tell who enters this"),
    ],
)
def test_what_is_wrong_stands_beside_the_field_and_nothing_is_entered(refusing, path, fields, said):
    told = {"who": "Ana", "back": "/machines/N1?span=shift", **fields}
    answer = send(refusing, f"/machines/N1/{path}", **told)
    assert answer.status_code == 422 and answer.headers["content-type"].startswith("text/html")
    text = text_of(answer)
    assert said in text and "Not entered:" in text
    assert 'aria-current="true">shift' in answer.text, "the page that the form stood on"
    if fields.get("text", "").strip():
        assert f'value="{fields["text"]}"' in answer.text
    assert refusing.told("notes")["items"] == refusing.told("judgements")["items"] == []
    assert refusing.told("targets")["items"] == refusing.told("stop-entries")["items"] == []


def test_an_entry_is_undone_once_and_only_where_there_is_one(writing):
    writing.entered("machines/N1/notes", text="x")
    assert send(writing, "/entries/1/undo", who="Ana").headers["location"] == "/machines/N1?undone=1#entered"
    again = send(writing, "/entries/1/undo", who="Ana")
    assert again.status_code == 422 and "was undone by Ana already" in text_of(again)
    assert send(writing, "/entries/7/undo", who="Ana").status_code == 404


@pytest.mark.parametrize(
    "back", ["https://elsewhere.example/", "//elsewhere.example/machines/N1", "/connections", ""]
)
def test_no_form_leads_away(writing, back):
    answer = send(writing, "/machines/N1/notes", text="x", who="Ana", back=back)
    assert answer.headers["location"] == "/machines/N1?entered=1#entered"


@pytest.mark.parametrize("headers", [{"host": HOST}, {"host": HOST, "origin": "http://elsewhere.example"}])
def test_forms_of_other_pages_are_refused(refusing, headers):
    body = urlencode({"text": "x", "who": "Ana"})
    kind = {"content-type": "application/x-www-form-urlencoded"}
    assert refusing.post("/machines/N1/notes", content=body, headers={**headers, **kind}).status_code == 403


def test_an_address_that_claims_an_entry_is_checked(writing):
    writing.entered("machines/S1/notes", text="elsewhere")
    for claimed in ("entered=1", "undone=1", "entered=99", "entered=x", "entered=" + "9" * 30):
        assert 'class="just"' not in page(writing, f"/machines/N1?{claimed}").text
    assert 'class="just"' in page(writing, "/machines/S1?entered=1").text
