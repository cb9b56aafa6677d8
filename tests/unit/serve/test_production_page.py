"""The page of production holds the figures of the API for the same span, and leads to what they are made of."""

from __future__ import annotations

import re
from html import unescape

import pytest

from swarfline.plant import load
from swarfline.serve import create_app
from swarfline.serve.page import amounts, production_stops, words
from swarfline.serve.page.production_sides import FINE_US
from swarfline.store import Batch, Store

from .client import Client
from .test_money import RATED, later_part
from .test_tool_pages import words_of
from .works import HOUR, NOW, START, facts, status

SHIFT = "from=2026-03-10T06:00:00%2B01:00&to=2026-03-10T12:00:00%2B01:00"


@pytest.fixture(scope="module")
def rated(tmp_path_factory):
    """The works with hourly rates (N1 only) and two parts, as test_money.py tells."""
    folder = tmp_path_factory.mktemp("rated")
    (folder / "plant.toml").write_text(RATED, encoding="utf-8")
    store = Store.open(f"sqlite:///{folder / 'rated.db'}")
    store.writer().commit(Batch(facts=[later_part(f) for f in facts()], servers={"line": status()}, seen_us=NOW))
    yield Client(create_app(load(folder / "plant.toml"), store, clock_us=lambda: NOW))
    store.close()


def page(client, query="span=shift", path="/production"):
    answer = client.get(f"{path}?{query}")
    assert answer.status_code == 200, answer.text
    return answer.text


def row_of(text, start):
    """The words of the first table row whose heading begins with these words."""
    rows = (words_of(row) for row in re.findall(r"<tr.*?</tr>", text, re.S))
    return next(row for row in rows if row.strip().startswith(start))


def link_of(text, words_in_it):
    """The address of the link with these words."""
    links = re.findall(r'<a [^>]*?href="([^"]*)"[^>]*>(.*?)</a>', text, re.S)
    return unescape(next(address for address, inside in links if words_of(inside).strip() == words_in_it))


@pytest.mark.parametrize(
    "query", ["span=shift", "span=day", SHIFT, "span=week&machine=N1", "span=shift&cell=south"]
)
def test_oee_and_its_factors_are_those_of_the_api(client, query):
    text = words_of(page(client, query))
    asked = query.replace("span=shift", SHIFT)
    (row,) = client.get(f"/api/v1/oee?by=plant&{asked}").json()["items"]
    for figure in row["figures"].values():
        assert words.percent(figure["value"]) in text
    assert f"{row['parts']['good']} of {row['parts']['produced']} made, {row['parts']['scrap']} scrap" in text


def test_the_picture_shows_each_loss_of_the_api(rated):
    text = page(rated)
    rows = rated.get(f"/api/v1/losses?by=plant&{SHIFT}").json()["items"]
    for name, title in (("waiting", "− waiting"), ("fault", "− fault"), ("good_parts", "good parts")):
        time_s = sum(r["time_s"] for r in rows if r["loss"] == name)
        assert amounts.hours(time_s) in row_of(text, title), name
    (fault,) = [r for r in rows if (r["loss"], r["length"]) == ("fault", "long")]
    told = row_of(text, "− fault")
    assert f"long stops {amounts.hours(fault['time_s'])}" in told
    assert f"{fault['parts']:.0f}" in told and "45.00 EUR" in told
    assert words.percent(fault["share_pct"] / 100) in told


def test_money_that_is_not_known_is_not_made_up(rated):
    told = row_of(page(rated), "− waiting")  # S1 has no rate
    assert words.UNKNOWN in told and "EUR" not in told
    assert "No bars" in words_of(page(rated, "span=shift&in=money"))


def test_the_picture_closes(client):
    """What is left of the planned time after every loss is the good parts: the bars end where they should."""
    text = page(client)
    bars = re.findall(r'<tr class="(\w+)">.*?<td class="picture">(.*?)</td>', text, re.S)
    edges = [[float(x) for x in re.findall(r"M([\d.e-]+) ", svg)] for _, svg in bars]
    ends = [[float(x) for x in re.findall(r"H([\d.]+)V", svg)] for _, svg in bars]
    left = 1000.0
    for (kind, _), starts, stops in zip(bars, edges, ends, strict=True):
        if kind == "stays":
            assert max(stops) == pytest.approx(left, abs=0.1)
        elif kind == "lost":
            assert max(stops) == pytest.approx(left, abs=0.1)
            left = min(starts)
        else:
            left = max(stops)
    assert [kind for kind, _ in bars].count("stays") == 4


def test_long_stops_are_whole_bars_and_short_ones_combs_true_to_scale(client):
    text = page(client, f"{SHIFT}&machine=N1")
    rows = client.get(f"/api/v1/losses?machine=N1&{SHIFT}").json()["items"]
    long_s, short_s = (
        next(r["time_s"] for r in rows if (r["loss"], r["length"]) == ("waiting", length))
        for length in ("long", "short")
    )
    path = re.search(r'class="c-waiting" d="([^"]*)"', text.split('id="ranks"')[0])[1]
    bars = [tuple(map(float, m)) for m in re.findall(r"M([\d.]+) \d+H([\d.]+)", path)]
    whole, teeth = bars[0], bars[1:]
    assert len(teeth) > 5
    drawn = (whole[1] - whole[0], whole[0] - teeth[0][0])
    assert drawn[0] / drawn[1] == pytest.approx(long_s / short_s, rel=0.05)


def test_the_course_shows_each_day_and_leads_to_it(client, get):
    text = page(client, "span=week")
    _, day = get("oee", by="day", span="week")["items"]
    course = re.search(r'id="course".*?</section>', text, re.S)[0]
    assert f"{words.percent(day['figures']['oee']['value'])} " in row_of(course, "Tue 10 Mar 2026")
    address = link_of(course, "Tue 10 Mar 2026")
    assert "span=day" in address and "Tue 10 Mar 2026, so far" in words_of(client.get(address).text)


def test_unobserved_time_stands_in_the_picture_and_coverage_beside_the_figures(client, get):
    text = page(client)
    (row,) = get("oee", by="plant", **{"from": "2026-03-10T06:00:00+01:00"})["items"]
    assert row["coverage_pct"] < 100
    assert f"observed: {words.percent(row['coverage_pct'] / 100)}" in words_of(text)
    assert amounts.hours(row["times"]["unobserved_time_s"]) in row_of(text, "− unobserved")


def test_faster_than_planned_is_shown_as_a_gain(tmp_path):
    (tmp_path / "plant.toml").write_text(RATED.replace("planned_cycle_time_s = 160", "planned_cycle_time_s = 200"))
    store = Store.open(f"sqlite:///{tmp_path / 'fast.db'}")
    store.writer().commit(Batch(facts=facts(), servers={"line": status()}, seen_us=NOW))
    fast = Client(create_app(load(tmp_path / "plant.toml"), store, clock_us=lambda: NOW))
    text = page(fast, "span=shift&machine=N1")
    told = row_of(text, "− slower than planned negative: faster than planned")
    (slow,) = [
        r for r in fast.get(f"/api/v1/losses?machine=N1&{SHIFT}").json()["items"] if r["loss"] == "slow_running"
    ]
    assert slow["time_s"] < 0 and amounts.hours(slow["time_s"]) in told
    assert "Above 100 %: the planned time is too long." in words_of(text)
    store.close()


def test_what_cost_most_comes_first_and_leads_to_its_stops(rated):
    text = page(rated, "span=shift&in=money")
    first = link_of(text, "N1: fault, long stops")
    told = words_of(rated.get(first).text)
    assert "Time in this condition 0.50 h" in told and "Door switch by the machine’s alarm" in told
    ranks = re.search(r'id="ranks".*?</table>', text, re.S)[0]
    told = [float(m) for m in re.findall(r">([\d.]+) EUR<", ranks)]
    assert told == sorted(told, reverse=True) and len(told) > 2


@pytest.mark.parametrize("length", ["short", "long"])
@pytest.mark.parametrize("condition", ["waiting", "fault"])
def test_the_sum_of_the_stops_is_the_loss_they_were_reached_by(client, get, condition, length):
    rows = get("losses", by="plant", **{"from": "2026-03-10T06:00:00+01:00"})["items"]
    (loss,) = [r for r in rows if (r["loss"], r["length"]) == (condition, length)]
    text = words_of(page(client, f"span=shift&condition={condition}&length={length}", "/production/stops"))
    assert f"Time in this condition {amounts.hours(loss['time_s'])}" in text


def test_the_list_of_stops_as_a_page_and_as_a_table(client, get):
    every = [
        s
        for m in ("N1", "S1")
        for s in get(f"machines/{m}/stops", **{"from": "2026-03-10T06:00:00+01:00"})["items"]
    ]
    text = page(client, "span=shift", "/production/stops")
    assert f"Stops {len(every)} " in words_of(text)
    table = client.get(link_of(text, "as CSV")).text.splitlines()
    assert len(table) == len(every) + 1 and table[0].startswith("machine,start,end,length_s")
    door = client.get(link_of(page(client, "span=shift&reason=Door+switch", "/production/stops"), "as CSV")).text
    assert len(door.splitlines()) == 2 and "Door switch" in door
    unnamed = page(client, "span=shift&named=no&sort=newest", "/production/stops")
    assert f"Stops {len(every) - 1} " in words_of(unnamed)
    begun = re.findall(r'<th scope="row"><a href="[^"]*">([\d:]+)</a>', unnamed)
    assert begun == sorted(begun, reverse=True) and len(begun) > 10


@pytest.mark.parametrize("sort", ["longest", "newest"])
def test_a_long_list_of_stops_has_pages(client, monkeypatch, sort):
    asked = f"span=shift&named=no&sort={sort}"
    begun = re.compile(r'<th scope="row"><a href="[^"]*">([\d:]+)</a>')
    monkeypatch.setattr(production_stops, "MOST", 1000)
    whole = begun.findall(page(client, asked, "/production/stops"))
    monkeypatch.setattr(production_stops, "MOST", 40)
    on, back = {"longest": ("shorter stops", "longer stops"), "newest": ("older stops", "newer stops")}[sort]
    text = page(client, asked, "/production/stops")
    assert f"1 to 40 of {len(whole)} are shown" in words_of(text) and back not in text
    found = begun.findall(text)
    while on in text:
        text = client.get(link_of(text, on)).text
        found += begun.findall(text)
    assert found == whole and len(whole) > 80
    assert f"to {len(whole)} of {len(whole)} are shown" in words_of(text)
    assert begun.findall(page(client, f"{asked}&page=99", "/production/stops")) == begun.findall(text)
    assert begun.findall(client.get(link_of(text, back)).text) == whole[-len(begun.findall(text)) - 40 :][:40]


@pytest.mark.parametrize(
    ("path", "query"),
    [
        ("/production", f"{SHIFT}&against=before&in=money&sort=lost"),
        ("/production", "span=week"),
        ("/production", "from=2025-12-01&to=2026-03-10T12:00"),
        ("/production/stops", "span=shift&length=long"),
    ],
)
def test_every_link_leads_somewhere(rated, path, query):
    text = re.search(r"<main.*</main>", page(rated, query, path), re.S)[0]
    found = {unescape(address).partition("#")[0] for address in re.findall(r'href="(/[^"]*)"', text)}
    assert len(found) >= 10
    assert {address: answer for address in found if (answer := rated.get(address).status_code) != 200} == {}
    marks = set(re.findall(r'href="[^"]*#([\w-]+)"', text))
    assert marks <= {*re.findall(r'id="([\w-]+)"', text), *(m for m in marks if m.startswith("mark-"))}


def test_a_stop_leads_to_its_machine_around_it(client):
    address = link_of(page(client, "span=shift&condition=fault", "/production/stops"), "09:59")
    assert address.startswith("/machines/N1?from=2026-03-10T09%3A4") and "to=2026-03-10T10%3A4" in address


def test_reasons_are_those_of_the_api_with_their_stops(rated):
    rows = rated.get(f"/api/v1/losses?by=plant&split=reason&{SHIFT}").json()["items"]
    (door,) = [r for r in rows if r["reason"] == "Door switch"]
    told = row_of(page(rated), "Door switch")
    assert f" 1 {amounts.hours(door['time_s'])} " in told and "45.25 EUR" in told


def test_machines_sort_by_their_figures_the_worst_first_and_the_unknown_last(client):
    def order(sort):
        text = re.search(r'id="machines".*?</table>', page(client, f"span=shift&sort={sort}"), re.S)[0]
        return re.findall(r"<tr>\s*<th scope=\"row\"><a [^>]*>([^<]*)</a>", text)

    assert order("machine") == ["N1", "South one"]
    assert order("availability") == ["South one", "N1"]
    assert order("effectiveness") == ["N1", "South one"], "S1 produced nothing: its effectiveness is not known"


def test_parts_against_the_plan_are_those_of_pace(client, get):
    (pace,) = get("pace", machine="N1")["items"]
    told = row_of(re.search(r'id="parts".*', page(client), re.S)[0], "N1")
    assert f" {pace['made']} " in told
    for value in (pace["expected"], pace["target"], pace["forecast"]):
        assert words.number(value) in told


def test_the_time_before_stands_beside_it(client, get):
    text = words_of(page(client, f"{SHIFT}&against=before"))
    assert "Beside it: Tue 10 Mar 2026, 00:00–06:00." in text
    later = "from=2026-03-10T10:00:00%2B01:00&to=2026-03-10T12:00:00%2B01:00&machine=N1"
    text = words_of(page(client, f"{later}&against=before"))
    now, then = (
        client.get(
            f"/api/v1/oee?by=plant&machine=N1&from=2026-03-10T{a}:00:00%2B01:00&to=2026-03-10T{b}:00:00%2B01:00"
        ).json()["items"][0]["figures"]["availability"]["value"]
        for a, b in (("10", "12"), ("08", "10"))
    )
    assert f"beside it {words.percent(then)}, {amounts.points(now, then)}" in text and now < then


def test_a_day_that_goes_on_is_compared_with_as_much_of_the_day_before(client):
    assert "Beside it: Mon 9 Mar 2026, 00:00–12:00." in words_of(page(client, "span=day&against=before"))
    assert "Beside it: Mon 9 Mar 2026, 06:00–12:00." in words_of(page(client, "span=shift&against=before"))


def test_beside_a_time_that_nobody_watched_nothing_is_made_up(client):
    text = page(client, "span=day&against=before")  # Monday: planned, but there is nothing of it
    assert words_of(text).count("beside it: not known") == 5
    told = row_of(text, "good parts")
    assert told.split()[-2:] == [words.UNKNOWN] * 2
    assert amounts.hours(2 * (8 * 3600 - 20 * 60)) in row_of(text, "planned time") or "11.3 h" in text


def test_any_other_time_beside_it(client):
    query = f"{SHIFT}&against=other&against_from=2026-03-10T06:00&against_to=2026-03-10T08:00"
    text = page(client, query)
    assert "Beside it: Tue 10 Mar 2026, 06:00–08:00." in words_of(text)
    assert "against_from=2026-03-10T06%3A00" in link_of(text, "Availability"), "links keep the whole state"


@pytest.mark.parametrize(
    "query",
    [
        "in=euro",
        "in=money",  # the works have no currency
        "sort=name",
        "against=after",
        "against=other",
        "against_from=2026-03-10T08:00&against_to=2026-03-10T07:00",
        "against_from=2031-01-01T00:00",
        "machine=X1",
        "span=year",
    ],
)
def test_wrong_addresses_are_told(client, query):
    assert client.get(f"/production?{query}").status_code in (404, 422)


@pytest.mark.parametrize(
    "query", ["condition=producing", "page=0", "length=middle", "named=maybe", "sort=first", "from=2026-01-01"]
)
def test_wrong_lists_of_stops_are_told(client, query):
    assert client.get(f"/production/stops?{query}").status_code == 422


def test_a_span_without_anything(client):
    text = words_of(page(client, "span=day&at=2026-03-02"))
    assert "OEE –" in text and "Nothing was observed in planned time" in text
    assert "Nothing was observed: no loss is known." in text
    assert "Good parts – " in text and "of 0 made" not in text, "what nobody watched is not nothing"
    assert text.count("nothing is known of this time") == 4
    empty = words_of(page(client, "span=day&at=2026-03-02", "/production/stops"))
    assert "Nothing was observed in planned time: whether anything stopped is not known." in empty


def test_in_a_shift_stand_the_machines_that_are_planned_in_it(tmp_path):
    """As /oee?by=shift has them; N1 produced, but had no shift."""
    plan = RATED.replace('breaks = [{ start = "09:30", end = "09:50" }]', 'machines = ["S1"]')
    (tmp_path / "plant.toml").write_text(plan)
    store = Store.open(f"sqlite:///{tmp_path / 'shift.db'}")
    store.writer().commit(Batch(facts=facts(), servers={"line": status()}, seen_us=NOW))
    own = Client(create_app(load(tmp_path / "plant.toml"), store, clock_us=lambda: NOW))
    text = words_of(page(own))
    assert "Not planned in this shift, and not in these figures: N1." in text
    (row,) = own.get(f"/api/v1/oee?by=shift&{SHIFT}").json()["items"]
    assert f"produced 0.00 h of {amounts.hours(row['times']['planned_busy_time_s'])} planned" in text
    assert "Machines 1 " in words_of(page(own, path="/production/stops"))
    assert "OEE" in page(own, "span=day") and "Not planned in this shift" not in page(own, "span=day")
    store.close()


def test_a_cell_without_machines(tmp_path):
    (tmp_path / "plant.toml").write_text(RATED.replace("[[cells]]", '[[cells]]\nid = "west"\n\n[[cells]]', 1))
    store = Store.open(f"sqlite:///{tmp_path / 'west.db'}")
    own = Client(create_app(load(tmp_path / "plant.toml"), store, clock_us=lambda: NOW))
    assert "There are no machines here" in page(own, "cell=west")
    assert "Stops 0 " in words_of(page(own, "cell=west", "/production/stops"))
    store.close()


def test_a_day_without_plan(client):
    text = words_of(page(client, "span=day&at=2026-03-01"))  # a Sunday
    assert "No time was planned for production, and nothing was produced." in text and "nothing planned" in text
    assert "No time was planned for production." in words_of(
        page(client, "span=day&at=2026-03-01", "/production/stops")
    )


def test_a_long_span_is_told_from_its_days(rated):
    query = "from=2026-01-01T00:00&to=2026-03-10T12:00"
    text = page(rated, query)
    assert "The span is longer than 45 days" in words_of(text)
    rows = rated.get(
        f"/api/v1/losses?by=plant&{query.replace('T00:00', 'T00:00:00Z').replace('12:00', '11:00:00Z')}"
    )
    for name in ("waiting", "fault"):
        time_s = sum(r["time_s"] for r in rows.json()["items"] if r["loss"] == name)
        assert amounts.hours(time_s) in row_of(text, f"− {name}")
    assert "45.00 EUR" in row_of(text, "− fault")
    assert FINE_US < (NOW - START) + 68 * 24 * HOUR


def test_the_figures_of_the_plant_now_lead_here(client):
    text = page(client, "", "/")
    assert link_of(text, "North cell") == "/production?span=shift&cell=north"
    led = [unescape(found) for found in re.findall(r'href="(/production[^"]*)"', text)]
    assert {"/production?span=shift", "/production?span=shift&machine=N1"} <= set(led)
    assert all(client.get(address).status_code == 200 for address in set(led))


def test_the_plant_now_tells_what_was_lost(rated):
    text = words_of(page(rated, "", "/"))
    rows = rated.get(f"/api/v1/losses?machine=N1&{SHIFT}").json()["items"]
    lost = [r for r in rows if r["loss"] != "good_parts"]
    time_s, money = (sum(r[name] for r in lost) for name in ("time_s", "money"))
    assert f"lost {amounts.hours(time_s)}, {amounts.money(money, 'EUR')}" in text
    assert re.search(r"Lost so far [\d.]+ h Parts", text), "S1 has no rate: what both lost in money is not known"


@pytest.mark.parametrize(
    ("value", "wanted"),
    [(None, "–"), (0, "0.00 h"), (9, "< 0.01 h"), (-9, "> −0.01 h"), (5400, "1.50 h"), (72000, "20.0 h")],
)
def test_hours_never_make_something_look_like_nothing(value, wanted):
    assert amounts.hours(value) == wanted


def test_changes_have_a_sign_unless_they_are_nothing():
    assert [amounts.change(t) for t in ("3.0 h", "−3.0 h", "0.0 h", "−0.0", "–")] == [
        "+3.0 h",
        "−3.0 h",
        "0.0 h",
        "0.0",
        "–",
    ]
    assert amounts.points(0.8, 0.75) == "+5.0 points" and amounts.points(None, 0.5) == words.UNKNOWN
