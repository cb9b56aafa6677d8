"""Tool forecast: consumption, cycles and parts left, times, states."""

from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from swarfline.facts import ABORTED, ToolLife
from swarfline.measure.forecast import (
    DUE,
    OK,
    UNKNOWN,
    WARNING,
    consumption_per_cycle,
    cycles_until,
    life_used,
    tool_forecasts,
    whole_cycles,
)
from swarfline.measure.prospect import recent_cycles

from .timelines import HOUR, MINUTE, cycle, use


def life(used, limit=100.0, warning=90.0, tool="7", **more):
    fields = {"pot": "7", "name": "end mill 12", "basis": "count", "open": True, **more}
    return ToolLife("N1", "P7", 0, 1, tool, used=used, limit=limit, warning_level=warning, **fields)


def always(start, end):
    return [(start, end)]


def ten_minutely(count, consumption=1.0, **more):
    return [cycle(i * 10 * MINUTE, 10 * MINUTE, tools=(use("7", consumption),), **more) for i in range(count)]


def forecast(tool, cycles, now=8 * HOUR):
    (found,) = tool_forecasts([tool], cycles, [(0, now)], always, now)
    return found


def test_consumption_of_a_tool_that_every_cycle_uses_is_the_typical_one():
    assert consumption_per_cycle([8.4] * 30) == pytest.approx(8.4)
    assert consumption_per_cycle([1.0] * 50) == 1.0
    assert consumption_per_cycle([2.0, 2.2, 40.0]) == 2.2, "the median of few"


def test_one_wild_value_does_not_move_it():
    assert consumption_per_cycle([8.0] * 20 + [900.0]) == pytest.approx(8.0)
    assert consumption_per_cycle([8.0] * 4 + [900.0]) == pytest.approx(8.0)


@pytest.mark.parametrize("using", [1, 5, 20, 24, 26, 30, 49])
def test_a_tool_that_some_cycles_use_lasts_longer_in_proportion(using):
    assert consumption_per_cycle([0.0] * (50 - using) + [3.0] * using) == pytest.approx(3.0 * using / 50)


def test_no_cycles_tell_no_consumption_and_unused_is_zero():
    assert consumption_per_cycle([]) is None
    assert consumption_per_cycle([0.0, 0.0]) == 0.0


@given(st.lists(st.floats(0, 1e6), min_size=1, max_size=60))
def test_consumption_lies_between_the_extremes(values):
    found = consumption_per_cycle(values)
    assert found is not None
    assert min(values) * (1 - 1e-9) <= found <= max(values) * (1 + 1e-9)


def test_whole_cycles_are_not_lost_to_binary_fractions():
    assert whole_cycles(0.3, 0.1) == 3
    assert cycles_until(0.3, 0.1) == 3
    assert whole_cycles(0.35, 0.1) == 3
    assert cycles_until(0.35, 0.1) == 4
    assert whole_cycles(-2.0, 0.1) == cycles_until(-2.0, 0.1) == 0
    assert whole_cycles(-2.0, None) == cycles_until(0.0, None) == 0, "over is over, at whatever consumption"
    assert whole_cycles(5.0, None) is whole_cycles(5.0, 0.0) is cycles_until(5.0, None) is None


def test_a_tool_in_use():
    found = forecast(life(93.0), ten_minutely(48, parts=2))
    assert (found.remaining, found.share_used, found.consumption_per_cycle) == (7, 0.93, 1)
    assert (found.cycles_left, found.parts_left) == (7, 14)
    assert found.limit_at_us == 8 * HOUR + 70 * MINUTE
    assert (found.state, found.warning_at_us) == (WARNING, None)
    assert (found.unit, found.pot_key, found.tool, found.name) == ("1", "P7", "7", "end mill 12")


def test_the_warning_comes_with_the_cycle_that_reaches_its_level():
    found = forecast(life(80.5), ten_minutely(48))
    assert found.state == OK
    assert found.warning_at_us == 8 * HOUR + 100 * MINUTE
    assert found.cycles_left == 19


def test_past_the_limit():
    found = forecast(life(103.0, locked=True), ten_minutely(48))
    assert (found.state, found.remaining, found.cycles_left, found.parts_left) == (DUE, -3, 0, 0)
    assert found.limit_at_us is found.warning_at_us is None
    assert found.locked
    just = forecast(life(100.0), ten_minutely(48))
    assert (just.state, just.limit_at_us) == (DUE, None)
    assert forecast(life(90.0), ten_minutely(48)).warning_at_us is None


def test_without_cycles_nothing_ahead_is_told():
    found = forecast(life(50.0), [])
    assert (found.remaining, found.state) == (50, OK)
    assert found.consumption_per_cycle is found.cycles_left is found.parts_left is found.limit_at_us is None


def test_without_limit_and_level_the_state_is_unknown():
    found = forecast(life(50.0, None, None), ten_minutely(48))
    assert found.state == UNKNOWN
    assert found.remaining is found.share_used is found.cycles_left is None
    assert forecast(life(50.0, None, 40.0), []).state == WARNING
    assert forecast(life(30.0, None, 40.0), []).state == OK


def test_a_tool_that_is_not_used_has_no_end_in_cycles():
    found = forecast(life(50.0, tool="9"), ten_minutely(48))
    assert found.consumption_per_cycle == 0
    assert found.cycles_left is found.limit_at_us is None


def test_the_running_cycle_and_aborted_ones_do_not_count():
    cycles = ten_minutely(48)
    running = cycle(8 * HOUR, 5 * MINUTE, open=True, outcome="running", tools=(use("7", 50.0),))
    aborted = cycle(8 * HOUR - 1, 1, outcome=ABORTED, tools=(use("7", 50.0),))
    assert forecast(life(93.0), [*cycles, aborted, running]) == forecast(life(93.0), cycles)


def test_only_what_is_being_made_tells_the_consumption():
    before = ten_minutely(40, 5.0)
    now = [cycle((40 + i) * 10 * MINUTE, 10 * MINUTE, program="P2", tools=(use("7", 1.0),)) for i in range(8)]
    assert forecast(life(50.0), before + now).consumption_per_cycle == 1.0
    assert {c.program for c in recent_cycles(before + now)} == {"P2"}
    assert len(recent_cycles(ten_minutely(200))) == 50


@pytest.mark.parametrize("made", [0, 1, 4, 5])
def test_a_change_of_the_part_counts_at_once(made):
    before = ten_minutely(40, 5.0)
    now = [cycle((40 + i) * 10 * MINUTE, 20 * MINUTE, program="P2", tools=(use("7", 1.0),)) for i in range(made)]
    running = cycle(7 * HOUR + 50 * MINUTE, 5 * MINUTE, open=True, outcome="running", program="P2")
    found = forecast(life(50.0), [*before, *now, running])
    assert found.consumption_per_cycle == (1.0 if made else None), "nothing is told by what the old part used"
    earlier = [cycle(-1000 * HOUR + i * HOUR, 20 * MINUTE, program="P2", tools=(use("7", 2.0),)) for i in range(9)]
    assert forecast(life(50.0), [*earlier, *before, running]).consumption_per_cycle == 2.0, "as in an earlier lot"


def test_a_longer_cycle_after_a_change_needs_its_time():
    before = ten_minutely(48, 5.0)
    once = cycle(-1000 * HOUR, 20 * MINUTE, program="P2", tools=(use("7", 1.0),))
    running = cycle(8 * HOUR - 1, 1, open=True, outcome="running", program="P2")
    found = forecast(life(90.0), [once, *before, running])
    assert found.cycles_left == 10
    assert found.limit_at_us == 8 * HOUR + 200 * MINUTE, "twice as long each, without waits as before"


def test_programs_in_turns_count_together():
    turns = [cycle(i * MINUTE, MINUTE, program=f"P{i % 2}", tools=(use("7", 4.0),) * (i % 2)) for i in range(40)]
    assert consumption_per_cycle(life_used(recent_cycles(turns), "7")) == 2.0


def test_a_use_without_a_told_life_is_left_out():
    cycles = [cycle(0, 9, tools=(use("7", None),)), cycle(10, 9, tools=(use("7", 2.0),)), cycle(20, 9)]
    assert life_used(cycles, "7") == [2.0, 0.0]


def test_ended_lives_are_passed_over():
    ended = life(99.0, open=False)
    assert tool_forecasts([ended, life(5.0)], [], [], always, 0) == tool_forecasts([life(5.0)], [], [], always, 0)


@pytest.mark.parametrize(("basis", "unit"), [("count", "1"), ("time", "s"), ("distance", "m")])
def test_units_follow_the_life_basis(basis, unit):
    assert forecast(life(5.0, basis=basis), []).unit == unit


def test_low_and_high_are_about_the_forecast():
    used = [Random(i).gauss(9.0, 1.0) for i in range(48)]
    cycles = [cycle(i * 10 * MINUTE, 9 * MINUTE, tools=(use("7", u),)) for i, u in enumerate(used)]
    found = forecast(life(0.0, 45.5 * consumption_per_cycle(used), 200.0), cycles)
    assert found.cycles_left_low < found.cycles_left == 45 < found.cycles_left_high
    assert found.limit_at_low_us < found.limit_at_us < found.limit_at_high_us
    assert found.warning_at_low_us < found.warning_at_us < found.warning_at_high_us < found.limit_at_us
    assert found.full_life_cycles == 45


def test_what_every_cycle_uses_alike_is_certain_but_not_when():
    found = forecast(life(93.0), ten_minutely(48))
    assert found.cycles_left_low == found.cycles_left_high == 7
    about = 553 * MINUTE // 100
    assert found.limit_at_us - found.limit_at_low_us == pytest.approx(about, rel=0.001), (
        "the running cycle's place"
    )
    assert found.limit_at_high_us - found.limit_at_us == pytest.approx(about, rel=0.001)


def test_low_and_high_are_unknown_where_the_forecast_is():
    for found in (forecast(life(50.0), []), forecast(life(50.0, tool="9"), ten_minutely(48))):
        assert (
            found.cycles_left_low
            is found.cycles_left_high
            is found.limit_at_low_us
            is found.limit_at_high_us
            is None
        )
    due = forecast(life(103.0), ten_minutely(48))
    assert (due.cycles_left_low, due.cycles_left_high) == (0, 0)
    assert due.limit_at_low_us is due.limit_at_high_us is None
    once = forecast(
        life(50.0), [*ten_minutely(47), cycle(470 * MINUTE, 9 * MINUTE, program="P2", tools=(use("7", 1.0),))]
    )
    assert once.cycles_left == 50
    assert once.cycles_left_low is once.limit_at_low_us is None, "one cycle tells no spread"
