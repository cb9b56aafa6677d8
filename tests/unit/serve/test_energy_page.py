"""The page of energy holds the same figures as the API."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date

import pytest

from swarfline.calendar import from_us
from swarfline.facts import WAITING, Energy
from swarfline.measure.energy import QUARTER_US
from swarfline.plant import load
from swarfline.plant.shifts import build_calendar
from swarfline.serve import create_app
from swarfline.serve.page import words
from swarfline.serve.page.energy import PEAKS, axis
from swarfline.store import Batch, Store

from .client import Client
from .test_money import RATED
from .test_tool_pages import words_of
from .works import HOUR, NOW, PLANT, START, facts, status


def test_the_figures_are_those_of_the_api(client, get):
    text = words_of(client.get("/energy").text)
    row = get("energy", by="plant")["items"][0]
    assert f"{words.number(row['energy']['value'], 1)} kWh" in text
    assert f"{words.number(row['energy_per_good_part']['value'], 3)} kWh" in text
    assert f"{words.number(row['demand_peak_kw'], 2)} kW" in text


def test_coverage_stands_beside_what_is_known_in_part(client, get):
    row = get("energy", by="plant")["items"][0]
    assert row["energy"]["coverage_pct"] < 100
    text = words_of(client.get("/energy").text)
    assert f"known for {words.percent(row['energy']['coverage_pct'] / 100)} of the time" in text


def test_no_price_is_told_and_no_cost_made_up(client):
    text = words_of(client.get("/energy").text)
    assert "no price per kWh in the plant file" in text and "Cost –" in text


def test_a_machine_without_energy_and_a_span_without(client):
    assert "None of these machines tells its energy" in words_of(client.get("/energy?machine=S1").text)
    text = words_of(client.get("/energy?span=day&at=2026-03-01").text)
    assert "Energy – kWh" in text and "Nothing to draw" in text and "No energy is told by: S1." in text


def test_a_share_that_is_not_whole_never_looks_so():
    assert words.share(0.99996) == "< 100 %"
    assert words.share(1) == "100.0 %" and words.share(0.5) == "50.0 %" and words.share(None) == words.UNKNOWN


def priced(tmp_path_factory, idle=True):
    """The morning of works.py with a price; ``idle``: N1 takes 2 kW in the break from 09:30 to 09:45."""
    folder = tmp_path_factory.mktemp("priced")
    (folder / "plant.toml").write_text(RATED, encoding="utf-8")
    store = Store.open(f"sqlite:///{folder / 'plant.db'}")
    begun = START + 14 * QUARTER_US
    told = [
        replace(f, condition=WAITING, energy_j=1_800_000.0)
        if idle and isinstance(f, Energy) and f.start_us == begun
        else f
        for f in facts()
    ]
    store.writer().commit(Batch(facts=told, servers={"line": status()}, seen_us=NOW))
    return Client(create_app(load(folder / "plant.toml"), store, clock_us=lambda: NOW)), store


def test_the_base_load_says_why_it_is_not_known_and_no_line_is_told_that_is_not_drawn(client, tmp_path_factory):
    text = words_of(client.get("/energy").text)
    assert "Base load – not known: no quarter of an hour without production whose energy is known" in text
    assert "The line is the base load" not in text and "Pale columns are known in part only" in text
    with_idle, store = priced(tmp_path_factory)
    page = with_idle.get("/energy").text
    store.close()
    assert "The line is the base load." in words_of(page)
    # 1.8 MJ in a quarter of an hour are 2 kW, at 0.25 EUR per kWh
    assert "Base load 2.00 kW taken when nothing is produced 0.50 EUR an hour, 12.00 EUR in 24 hours" in words_of(
        page
    )
    (line,) = re.findall(r'class="q-base" d="([^"]*)"', page)
    assert line


def test_each_peak_bears_its_day(client):
    text = client.get("/energy?span=week").text
    (table,) = re.findall(r"<caption>Highest demand</caption>.*?</table>", text, re.S)
    found = re.findall(r'<th scope="row">([^<]*)</th>', table)
    assert len(found) == PEAKS and all(re.fullmatch(r"Tue 10 Mar 2026, \d\d:\d\d", when) for when in found)


@pytest.mark.parametrize(
    ("day", "hours", "labels"),
    [
        (date(2026, 3, 10), 24, ["00:00", "03:00", "06:00", "09:00", "12:00", "15:00", "18:00", "21:00"]),
        (date(2026, 3, 10), 13.25, ["00:00", "02:00", "04:00", "06:00", "08:00", "10:00"]),
        # the clocks go from 02:00 to 03:00 on this day in Madrid
        (date(2026, 3, 29), 23, ["00:00", "04:00", "07:00", "10:00", "13:00", "16:00", "19:00"]),
        (date(2026, 3, 9), 7 * 24, ["Mon 9", "Tue 10", "Wed 11", "Thu 12", "Fri 13", "Sat 14", "Sun 15"]),
        (date(2026, 3, 1), 31 * 24 - 1, ["Sun 1", "Thu 5", "Mon 9", "Fri 13", "Tue 17", "Sat 21", "Wed 25"]),
    ],
)
def test_the_axis_has_whole_hours_or_days(works_calendar, day, hours, labels):
    start = works_calendar.day_span(day)[0]
    told = axis(works_calendar, (start, start + round(hours * HOUR)))
    assert [tick.label for tick in told if tick.label] == labels
    for tick in told:
        at = from_us(round(start + tick.at_pct / 100 * hours * HOUR), works_calendar.zone)
        assert abs(at.minute * 60 + at.second - 0) < 2 or at.minute == 59, "true to scale"


@pytest.fixture(scope="module")
def works_calendar(tmp_path_factory):
    path = tmp_path_factory.mktemp("axis") / "plant.toml"
    path.write_text(PLANT, encoding="utf-8")
    return build_calendar(load(path))
