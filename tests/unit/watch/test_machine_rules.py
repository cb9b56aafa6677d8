"""The rules of machines: lot, stops, sight, cycle times, scrap."""

import pytest

from swarfline.facts import FAULT, OFF, PRODUCING, SETUP, UNOBSERVED, WAITING
from swarfline.plant.alerts import DriftTable, LotTable, OutOfSightTable, ScrapTable, StoppedTable
from swarfline.watch.rules import (
    cycle_time_drifted,
    lot_will_not_finish,
    machine_out_of_sight,
    machine_stopped_longer,
    scrap_rate,
)
from swarfline.watch.rules.cycle_time_drifted import Levels
from swarfline.watch.rules.lot_will_not_finish import LOT, TARGET, Ahead
from swarfline.watch.rules.machine_out_of_sight import Sight
from swarfline.watch.rules.machine_stopped_longer import Standing
from swarfline.watch.rules.scrap_rate import Made
from swarfline.watch.rules.tool_load_rising import ToolLoad
from watch.seen import HOUR, MINUTE, NOW, state

END = NOW + 4 * HOUR
IN_POT = ToolLoad("N1", "P1", "7", "", "1")


def ahead(finish_us=END + 30 * MINUTE, beyond_us=30 * MINUTE, left=40, tools=(), end_us=END, what=LOT):
    return Ahead("N1", what, "L-8", left, finish_us, end_us, beyond_us, tools)


@pytest.mark.parametrize(
    ("seen", "expected"),
    [
        (ahead(), "raised"),
        (ahead(beyond_us=HOUR), "raised"),
        # a lot that needs far longer was never meant for this shift, but a target was told for its time
        (ahead(beyond_us=HOUR + 1), "cleared"),
        (ahead(beyond_us=HOUR + 1, what=TARGET), "raised"),
        (ahead(END - 5 * MINUTE, 0), "kept"),
        (ahead(END - 5 * MINUTE, 0, what=TARGET), "kept"),
        (ahead(END - 10 * MINUTE, 0), "cleared"),
        (ahead(END - 10 * MINUTE, 0, what=TARGET), "cleared"),
        # done after the end, but before anything is planned again
        (ahead(END + 5 * MINUTE, 0), "kept"),
        (ahead(END - HOUR, 0, tools=(IN_POT,)), "raised"),
        (ahead(END + 9 * HOUR, 9 * HOUR, tools=(IN_POT,)), "cleared"),
        (ahead(None, None), "cleared"),
        (ahead(end_us=None, beyond_us=None), "cleared"),
        (ahead(left=0), "cleared"),
        (ahead(left=None), "cleared"),
    ],
)
def test_a_lot_that_misses_the_end_of_the_shift_or_a_target(seen, expected):
    assert state(lot_will_not_finish.see(seen, LotTable())) == expected


def test_what_it_says_of_a_lot_and_of_a_target():
    found = lot_will_not_finish.see(ahead(tools=[IN_POT]), LotTable())
    assert found.text == (
        "Lot L-8 on N1 will not be reached by the end of the shift: 40 parts left; "
        "to be changed before it is done: Tool 7 in pot 1 on N1"
    )
    target = lot_will_not_finish.see(ahead(what=TARGET), LotTable())
    assert target.text == "Target of L-8 on N1 will not be reached by the end of its time: 40 parts left"
    assert (found.subject, target.subject) == ("lot", "target")
    quiet = LotTable(tools=False)
    assert state(lot_will_not_finish.see(ahead(END - HOUR, 0, tools=(IN_POT,)), quiet)) == "cleared"


def stands(condition=WAITING, in_shift=True, since_us=NOW - HOUR, alarm="", **planned_min):
    return Standing(
        "N1", condition, since_us, in_shift, {c: m * MINUTE for c, m in planned_min.items()}, NOW, alarm
    )


@pytest.mark.parametrize(
    ("seen", "settings", "expected"),
    [
        (stands(waiting=30), {}, "raised"),
        (stands(waiting=29.99), {}, "kept"),
        (stands(FAULT, fault=15), {}, "raised"),
        (stands(FAULT, fault=14.9), {}, "kept"),
        # the fault within a stop that goes on waiting counts
        (stands(WAITING, fault=15, waiting=3), {}, "raised"),
        # several short of their own limits do not add up
        (stands(waiting=20, fault=10), {}, "kept"),
        (stands(SETUP, setup=500), {}, "kept"),
        (stands(SETUP, setup=500), {"setup_min": 90}, "raised"),
        (stands(OFF, off=500), {}, "kept"),
        (stands(waiting=500), {"waiting_min": None}, "kept"),
        # outside of shifts nothing is expected
        (stands(in_shift=False, waiting=500), {}, "cleared"),
        (stands(UNOBSERVED), {}, "kept"),
        (stands(PRODUCING, since_us=NOW - MINUTE), {}, "cleared"),
        (stands(PRODUCING, since_us=NOW - MINUTE + 1), {}, "kept"),
        (stands(PRODUCING, since_us=None), {}, "kept"),
        (stands(PRODUCING, since_us=NOW), {"clear_s": 0}, "cleared"),
    ],
)
def test_a_machine_that_stands(seen, settings, expected):
    assert state(machine_stopped_longer.see(seen, StoppedTable(**settings), NOW)) == expected


def test_what_it_says_of_a_machine_that_stands():
    found = machine_stopped_longer.see(
        stands(FAULT, alarm="Coolant\nlevel", fault=20, waiting=40), StoppedTable(), NOW
    )
    assert found.text == "N1 has been in fault for more than 15 min: Coolant level"
    assert (found.machine, found.subject) == ("N1", "machine")


@pytest.mark.parametrize(
    ("seen", "expected"),
    [
        (Sight("N1", "line", False, True, True, NOW, 15 * MINUTE), "raised"),
        (Sight("N1", "line", False, True, True, NOW, 15 * MINUTE - 1), "kept"),
        # the server itself is lost, or nothing is known of it
        (Sight("N1", "line", False, False, True, NOW, HOUR), "kept"),
        (Sight("N1", "line", False, None, True, NOW, HOUR), "kept"),
        (Sight("N1", "line", False, True, False, NOW, HOUR), "cleared"),
        (Sight("N1", "line", True, True, True), "cleared"),
    ],
)
def test_a_machine_out_of_sight(seen, expected):
    assert state(machine_out_of_sight.see(seen, OutOfSightTable())) == expected


def levels(now_s, before_s=100.0):
    return Levels("N1", "O1", "PH-12", before_s, now_s, NOW)


@pytest.mark.parametrize(
    ("seen", "settings", "expected"),
    [
        (levels(105), {}, "raised"),
        (levels(104.9), {}, "kept"),
        (levels(102), {}, "kept"),
        (levels(101.9), {}, "cleared"),
        (levels(100), {}, "cleared"),
        (levels(100), {"clear_pct": 0}, "cleared"),
        (levels(90), {}, "kept"),
        (levels(90), {"shorter_pct": 10}, "raised"),
        (levels(90.1), {"shorter_pct": 10}, "kept"),
        (levels(150), {"longer_pct": None}, "kept"),
        (levels(5, before_s=0), {}, "cleared"),
    ],
)
def test_cycle_times_with_a_new_level(seen, settings, expected):
    assert state(cycle_time_drifted.see(seen, DriftTable(**settings))) == expected


def test_what_it_says_of_cycle_times():
    found = cycle_time_drifted.see(levels(108), DriftTable())
    assert found.text == "Cycles of program O1 on N1 have become longer by 8 %: 100.0 s before, 108.0 s now"
    assert found.subject == "O1/PH-12"
    assert found.detail["since_at"] == "2026-05-28T20:26:40Z"


@pytest.mark.parametrize(
    ("total", "scrap", "expected"),
    [
        (100, 10, "raised"),
        (100, 9, "kept"),
        (100, 5, "kept"),
        (100, 4, "cleared"),
        # too few parts, or too few of them scrap, to say anything
        (19, 19, "kept"),
        (19, 0, "cleared"),
        (20, 5, "raised"),
        (20, 4, "kept"),
        (0, 0, "cleared"),
    ],
)
def test_the_share_of_scrap(total, scrap, expected):
    assert state(scrap_rate.see(Made("N1", False, total, scrap), ScrapTable())) == expected


def test_what_it_says_of_scrap():
    assert scrap_rate.see(Made("N1", False, 80, 10), ScrapTable()).text == (
        "10 of 80 parts made last on N1 are scrap: 12.5 %"
    )
    assert "parts of this shift" in scrap_rate.see(Made("N1", True, 80, 10), ScrapTable()).text
