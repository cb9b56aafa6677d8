"""What alerts say, told again from their detail: in English the same text, in another language the same facts."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace

import pytest

from swarfline.alerts import Sighting
from swarfline.facts import FAULT, HELD, OFF, OUT_OF_SERVICE, SETUP, WAITING
from swarfline.plant.alerts import (
    ClockTable,
    ConnectionTable,
    DiskTable,
    DriftTable,
    LifeResetTable,
    LoadRisingTable,
    LotTable,
    NearLimitTable,
    OutOfSightTable,
    PastLimitTable,
    PowerPeakTable,
    ScrapTable,
    StoppedTable,
)
from swarfline.sentence import Tongue
from swarfline.watch.rules import (
    RULES,
    clock_offset,
    codes_unmapped,
    connection_lost,
    cycle_time_drifted,
    disk,
    lot_will_not_finish,
    machine_out_of_sight,
    machine_stopped_longer,
    power_peak,
    scrap_rate,
    tool_life_reset,
    tool_load_rising,
    tool_near_limit,
    tool_past_limit,
)
from swarfline.watch.telling import retold
from watch.seen import HOUR, MINUTE, NOW
from watch.test_plant_rules import links, quarters
from watch.test_tool_near_limit import Tool as Near
from watch.test_tool_rules import Tool as Past
from watch.test_tool_rules import load, reset


def of_servers() -> Iterator[Sighting]:
    for offset_s in (7200, -30):
        yield clock_offset.see("line", offset_s * 1_000_000, ClockTable())
    for count in (1, 30):
        yield codes_unmapped.see("line", {f"N{n}/state": "9" for n in range(count)})
    yield connection_lost.see(links(50, 50), ConnectionTable(), stands=False)[0]
    for machines in (0, 2, 150):
        yield connection_lost.see(links(1, 1, machines), ConnectionTable(), stands=False)[1]


def of_plant() -> Iterator[Sighting]:
    yield disk.see(1_234_567_890, DiskTable())
    for cell in ("", "north"):
        yield power_peak.see(quarters(120, cell=cell), PowerPeakTable(limit_kw=80.5))


def of_machines() -> Iterator[Sighting]:
    for program, part, before_s in (("O1", "PH-12", 100.0), ("", "PH-12", 70.123456), ("", "", 33.3)):
        for now_s in (before_s * 1.0812345, before_s * 0.5):
            levels = cycle_time_drifted.Levels("N1", program, part, before_s, now_s, NOW)
            yield cycle_time_drifted.see(levels, DriftTable(shorter_pct=10))
    tools = [tool_load_rising.ToolLoad("N1", f"P{n}", str(n), "drill" * (n % 2), "") for n in range(30)]
    for what in (lot_will_not_finish.LOT, lot_will_not_finish.TARGET):
        for name, left, beyond_us, due in (
            ("L-8", 40, HOUR, 0),
            ("", 1, 0, 2),
            ("L-8", 3, 0, 5),
            ("", 9, HOUR, 30),
        ):
            end_us = NOW + HOUR
            told = lot_will_not_finish.Ahead("N1", what, name, left, end_us, end_us, beyond_us, tools[:due])
            yield lot_will_not_finish.see(told, LotTable())
    yield machine_out_of_sight.see(
        machine_out_of_sight.Sight("N1", "line", False, True, True, NOW, HOUR), OutOfSightTable(after_min=12.5)
    )
    minutes = StoppedTable(waiting_min=1, fault_min=2.5, held_min=3, setup_min=4, out_of_service_min=5, off_min=6)
    for condition in (FAULT, HELD, WAITING, SETUP, OUT_OF_SERVICE, OFF):
        for alarm in ("", "Coolant {level}"):
            standing = machine_stopped_longer.Standing("N1", condition, NOW, True, {condition: HOUR}, NOW, alarm)
            yield machine_stopped_longer.see(standing, minutes, NOW)
    for of_shift in (True, False):
        yield scrap_rate.see(scrap_rate.Made("N1", of_shift, 81, 10), ScrapTable())


def of_tools() -> Iterator[Sighting]:
    lives = [{"used": 93.0}, {"used": 93.0, "limit": None}, {"used": 3500.0, "limit": 3600.0, "basis": "time"}]
    lives += [{"used": 950.0, "limit": None, "basis": "time"}, {"used": 98.76, "basis": "distance"}]
    names = [{}, {"name": "", "pot": ""}, {"tool": ""}, {"tool": "", "name": ""}]
    ahead = [{"cycles_left": 7}, {"cycles_left": 1}, {"cycles_left": 1234567}, {"consumption_per_cycle": 0.0}]
    settings = NearLimitTable(before_lot_end=True, before_shift_end=True)
    for fields in [*lives, *({"used": 93.0, **more} for more in (*names, *ahead)), {"used": 101.0}]:
        yield tool_near_limit.see(Near(**fields), settings, NOW)
    for lot_cycles, shift_end_us in ((9, None), (None, NOW + HOUR)):
        tool = Near(50, cycles_left=7, limit_in_us=30 * MINUTE)
        yield tool_near_limit.see(tool, settings, NOW, lot_cycles, shift_end_us)
    for past in (Past(103), Past(103, name="reamer"), Past(4000, 3600, basis="time")):
        yield tool_past_limit.see(past, PastLimitTable())
    for seen in (reset(), reset(used=3.33, limit=77.0)):
        yield tool_life_reset.see(seen, LifeResetTable(), NOW)
    for program in ("O1", ""):
        yield tool_load_rising.see(load(rise=0.12345, program=program), LoadRisingTable())


QUOTED = Tongue(lambda text: f"«{text}»")
SIGHTINGS = [*of_servers(), *of_plant(), *of_machines(), *of_tools()]


def kept(sighting: Sighting) -> dict[str, object]:
    """The detail as the database gives it back."""
    return json.loads(json.dumps(sighting.detail))


def test_every_rule_is_among_them():
    assert {s.rule for s in SIGHTINGS} == {rule.name for rule in RULES}
    assert all(s.active and s.text for s in SIGHTINGS), [s.text for s in SIGHTINGS if not s.active]


@pytest.mark.parametrize("sighting", SIGHTINGS, ids=lambda s: s.text[:60])
def test_english_told_from_the_detail_is_what_the_rule_wrote(sighting):
    say = {rule.name: rule.say for rule in RULES}[sighting.rule]
    assert say({**kept(sighting), "machine": sighting.machine}).told() == sighting.text


@pytest.mark.parametrize("sighting", SIGHTINGS, ids=lambda s: s.text[:60])
def test_another_language_says_every_sentence_of_it(sighting):
    told = retold(sighting.rule, sighting.machine, sighting.text, kept(sighting), QUOTED)
    assert told.startswith("«") and told.endswith("»")
    assert told.replace("«", "").replace("»", "") == sighting.text


@pytest.mark.parametrize("sighting", SIGHTINGS, ids=lambda s: s.text[:60])
def test_a_detail_that_lacks_a_part_leaves_the_text_as_it_was_written(sighting):
    spoken = 0
    for lost in sighting.detail:
        detail = {name: value for name, value in kept(sighting).items() if name != lost}
        told = retold(sighting.rule, sighting.machine, sighting.text, detail, QUOTED)
        assert told.replace("«", "").replace("»", "") == sighting.text
        spoken += told != sighting.text
    assert spoken < len(sighting.detail), "no part of the detail is needed"
    wrong = dict.fromkeys(sighting.detail, "x")
    assert retold(sighting.rule, sighting.machine, sighting.text, wrong, QUOTED) == sighting.text


def test_a_text_that_another_version_wrote_stays():
    sighting = SIGHTINGS[0]
    older = replace(sighting, text="The clock is wrong")
    assert retold(older.rule, "", older.text, older.detail, QUOTED) == "The clock is wrong"
    assert retold("gone", "", "A rule that is gone", {}, QUOTED) == "A rule that is gone"
