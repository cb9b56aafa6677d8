"""From the plant file to the settings of interpretation."""

from __future__ import annotations

from collect.line import raw_plant
from swarfline.collect import machine_settings
from swarfline.interpret.settings import MAX_SKEW_US
from swarfline.plant.load import check

PARTS = [
    {"id": "PH-12", "planned_cycle_time_s": 60, "programs": ["O1"]},
    {"id": "VC-30", "planned_cycle_time_s": 40, "parts_per_cycle": 2, "programs": ["O2", "O3"]},
]


def raw(**server: object) -> dict:
    interpret = {"reorder_window_s": 2.5, "clock_tolerance_s": 0.25, "cutting_load_pct": 7}
    found = raw_plant("N1", "N2", parts=PARTS, interpret=interpret)
    (line,) = found["servers"]
    line |= server
    first, second = line["machines"]
    first |= {"part": "PH-12", "cycle_bounds": "part_count"}
    second["signals"] = {**second["signals"], "part_count": {"node": "t:part_count", "width": 16}}
    return found


def test_every_key_arrives():
    first, second = machine_settings(check(raw(), "plant.toml"))
    assert (first.machine, second.machine) == ("N1", "N2")
    assert first.part_by_program == {"O1": "PH-12", "O2": "VC-30", "O3": "VC-30"}
    assert first.parts_per_cycle == {"PH-12": 1, "VC-30": 2}
    assert (first.default_part, second.default_part) == ("PH-12", "")
    assert (first.cycle_bounds, second.cycle_bounds) == ("part_count", "program_state")
    assert (first.widths, second.widths) == ({}, {"part_count": 16})
    assert (first.reorder_us, first.clock_tolerance_us, first.cutting_load_pct) == (2_500_000, 250_000, 7)
    assert "spindle_load" in first.signals


def test_a_server_whose_clock_rules_has_no_limit_of_plausibility():
    assert {s.max_skew_us for s in machine_settings(check(raw(), "plant.toml"))} == {MAX_SKEW_US}
    assert {s.max_skew_us for s in machine_settings(check(raw(clock="server"), "plant.toml"))} == {None}
