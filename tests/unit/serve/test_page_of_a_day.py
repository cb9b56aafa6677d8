"""A machine's day in words, the same lists as CSV, the energy of the day, and the list of addresses."""

from __future__ import annotations

import csv
import html
import re

import pytest

from swarfline.facts import WAITING, Condition, ToolLife
from swarfline.serve import create_app
from swarfline.serve.page import reference
from swarfline.store import Batch, Store

from .client import Client
from .works import HOUR, MIDNIGHT, NOW, START, plant, works


@pytest.fixture
def busy(tmp_path):
    """The works with more tools and an ended life."""
    app, store = works(tmp_path)
    lives = [
        ToolLife("N1", "10", START, NOW, "3", "10", "Drill 9", "time", 16461.3, 18000.0, None, open=True),
        ToolLife("N1", "2", START, NOW, "5", "2", "Tap M12", "distance", 187.2, 500.0, None, open=True),
        ToolLife("N1", "4", START, NOW - HOUR, "8", "4", "Reamer 8", "time", 5400.0, 7200.0, reason="reset"),
        ToolLife("N1", "6", START + HOUR, NOW - 2 * HOUR, "9", "6", "Drill 5", "count", 5, 70, reason="replaced"),
    ]
    store.writer().commit(Batch(facts=lives))
    yield Client(app)
    store.close()


@pytest.fixture
def silent(tmp_path):
    """The works before any machine was reached."""
    store = Store.open(f"sqlite:///{tmp_path / 'works.db'}")
    yield Client(create_app(plant(tmp_path), store, clock_us=lambda: NOW))
    store.close()


def section(client, name, path="/machines/N1"):
    """Text of the section of a page that begins with this heading."""
    text = client.get(path).text
    found = re.search(rf">{name}</h2>.*?</section>", text, re.DOTALL)
    assert found is not None, name
    return found[0]


def rows(part):
    """Cells of the rows of the first table in it."""
    body = re.search(r"<tbody>(.*?)</tbody>", part, re.DOTALL)[1]
    return [
        [re.sub("<[^>]*>", "", cell).strip() for cell in re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", row, re.DOTALL)]
        for row in re.findall(r"<tr>(.*?)</tr>", body, re.DOTALL)
    ]


def test_pots_are_in_the_order_of_their_numbers(busy):
    assert [row[1] for row in rows(section(busy, "Tools in the machine now"))] == ["1", "2", "10"]


def test_life_by_time_is_in_hours_and_minutes(busy):
    used = {row[1]: row[2] for row in rows(section(busy, "Tools in the machine now"))}
    assert used == {"1": "95 of 100", "2": "187.2 m of 500.0 m", "10": "4 h 34 min of 5 h 00 min"}


def test_ended_lives_in_the_order_of_their_ends_with_the_cause_in_words(busy):
    ended = section(busy, "Tools in the machine now").split("Tool lives that ended in this time")[1]
    assert rows(ended) == [
        ["10:00", "T9 Drill 5", "5", "70", "another tool was put into the pot"],
        [
            "11:00",
            "T8 Reamer 8",
            "1 h 30 min",
            "2 h 00 min",
            "life set back at the machine: tool changed, or counted anew",
        ],
    ]


def test_long_stops_are_listed_with_their_reason_and_short_ones_together(client):
    part = re.sub(r"\s+", " ", re.sub("<[^>]*>", " ", section(client, "Stops to name")))
    assert "Every long stop has a reason." in part
    assert "fault 30 min 09:59–10:30 Door switch told by the machine" in part
    assert "103 short stops of up to 5 min each, together 17 min." in part


@pytest.mark.parametrize("name", ["Cycle times", "Stops to name", "Alarms", "Gaps"])
def test_a_machine_that_was_never_reached_had_no_day_without_events(silent, name):
    part = section(silent, name)
    assert "Never observed on this day." in part and "No " not in part


def test_a_day_begun_unobserved_is_not_called_free_of_gaps(client):
    assert "No gap on record, but 6 h 00 min of this time were not observed." in section(client, "Gaps")


def test_a_day_without_events_is_called_so(tmp_path):
    """S1 with its night filled in."""
    store = Store.open(f"sqlite:///{tmp_path / 'works.db'}")
    store.writer().commit(Batch(facts=[Condition("S1", MIDNIGHT, NOW, WAITING, open=True)], seen_us=NOW))
    app = create_app(plant(tmp_path), store, clock_us=lambda: NOW)
    assert "No gap on this day." in section(Client(app), "Gaps", "/machines/S1")
    store.close()


@pytest.mark.parametrize(
    ("heading", "name", "count"),
    [
        ("Cycle times", "cycles", 110),
        ("Stops to name", "stops", None),
        ("Tools in the machine now", "tools", 3),
        ("Tools in the machine now", "tool-lives", 5),
    ],
)
def test_each_list_leads_to_its_csv_of_the_same_day(busy, heading, name, count):
    links = dict(
        re.findall(r'<a href="([^"]*)"[^>]*download="N1-2026-03-10-([\w-]+)\.csv"', section(busy, heading))
    )
    (url,) = (html.unescape(u) for u, n in links.items() if n == name)
    if name != "tools":
        assert "from=2026-03-10T00%3A00%3A00%2B01%3A00&to=2026-03-10T12%3A00%3A00%2B01%3A00" in url
    answer = busy.get(url)
    assert answer.status_code == 200 and answer.headers["content-type"].startswith("text/csv")
    told = list(csv.DictReader(answer.text.splitlines()))
    stops = busy.get("/api/v1/machines/N1/stops", params={"limit": 1000}).json()["items"]
    assert len(told) == (len(stops) if count is None else count)


def test_the_energy_of_the_day_does_not_stand_under_the_shift(client):
    text = client.get("/").text
    shift = re.search(r'id="totals-title".*?</section>', text, re.DOTALL)[0]
    day = section(client, "Energy of the day, since midnight", "/")
    assert "Energy" not in shift and 'data-cell="plant.energy"' in day


def test_the_list_of_addresses_tells_what_may_stand_where(client):
    text = client.get("/api").text
    row = text[text.index("<code>by</code>", text.index("/api/v1/oee")) :]
    allowed = re.search(r'data-label="Values">(.*?)</td>', row)[1]
    assert re.findall("<code>(.*?)</code>", allowed) == [
        *("machine", "cell", "plant", "part", "shift", "day", "week", "month"),
        "machine",
    ]
    for values in (
        "<code>condition</code>, <code>reason</code>; by default <code>condition</code>",
        "<code>10</code> to <code>4000</code>; by default <code>600</code>",
        "<code>1</code> to <code>1000</code>",
        "<code>true</code>, <code>false</code>; by default <code>false</code>",
        "<code>scrap</code>, <code>rework</code>, <code>good</code>",
        "<code>Accept: text/csv</code>",
    ):
        assert values in text, values
    assert "`" not in text and "<code></code>" not in text


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("a `b` <c>", ["a <code>b</code> &lt;c&gt;"]),
        ("``b``", ["<code>b</code>"]),
        ("`<b>`", ["<code>&lt;b&gt;</code>"]),
        ("one ` alone", ["one ` alone"]),
        ("first\nline\n\nsecond", ["first\nline", "second"]),
    ],
)
def test_descriptions_become_paragraphs_with_code(text, shown):
    assert [str(p) for p in reference.paragraphs(text)] == shown
