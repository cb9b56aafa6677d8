"""Level steps of cycles: what accounts for them, without remainder."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from swarfline.facts import ABORTED, STEPS, Cycle, ToolUse
from swarfline.measure.attribution import level_charts, level_steps, shares, typical
from swarfline.measure.levels import Level
from swarfline.measure.trend import cycle_trend

from .timelines import MINUTE, SECOND, cycle


def made(number, cutting, change=10 * SECOND, other=20 * SECOND, wobble=0, tools=("1", "2")):
    """A cycle of two tools that share the cutting evenly; the change is the second one's."""
    length = cutting + change + other + wobble
    uses = (
        ToolUse(tools[0], 1, cutting // 2 + other, cutting // 2),
        ToolUse(tools[1], 2, cutting - cutting // 2 + change, cutting - cutting // 2),
    )
    by_step = {"cutting": cutting, "tool_change": change, "other": other + wobble}
    return cycle(number * 5 * MINUTE, length, step_us=tuple(by_step.get(s, 0) for s in STEPS), tools=uses)


def run(*pieces):
    """Cycles one after another from (count, arguments of made), each a little off."""
    wanted = [more for count, more in pieces for _ in range(count)]
    return [made(n, **more, wobble=(n * 7 % 11 - 5) * 50_000) for n, more in enumerate(wanted)]


def alternating(count, *levels_s):
    """Cycles that take each of the levels for so many cycles, by turns half a second below and above it."""
    lengths = [level + (n % 2) - 0.5 for level in levels_s for n in range(count)]
    return [cycle(n * 5 * MINUTE, round(length * SECOND)) for n, length in enumerate(lengths)]


def test_each_level_has_limits_of_its_own():
    """x̄ ± 3 · M̄R ÷ 1.128 (NIST/SEMATECH e-Handbook 6.3.2.2) with ranges that are all of one second."""
    cycles = alternating(40, 100, 106)
    cycles[10] = cycle(cycles[10].start_us, 104 * SECOND)
    steps, trend = level_steps(cycles), cycle_trend(cycles)
    first, second = level_charts(trend, steps)
    assert (first.start_us, first.last_us) == (cycles[0].start_us, cycles[39].start_us)
    assert (second.start_us, second.last_us) == (cycles[40].start_us, cycles[79].start_us)
    assert second.chart.limits == pytest.approx((106 - 3 / 1.128, 106 + 3 / 1.128))
    assert (first.chart.beyond, second.chart.beyond) == ((10,), ())
    assert len(trend.chart.beyond) > 1, "limits of both together lie where no cycle does"


def test_without_a_step_the_limits_are_those_of_all():
    trend = cycle_trend(alternating(40, 100))
    (whole,) = level_charts(trend, [])
    assert whole.chart == trend.chart
    assert level_charts(cycle_trend([]), []) == []


def test_a_step_tells_when_and_how_much():
    cycles = run((40, {"cutting": 100 * SECOND}), (30, {"cutting": 106 * SECOND}))
    (step,) = level_steps(reversed(cycles))
    assert (step.since_us, step.last_us, step.at_us, step.until_us) == tuple(
        cycles[n].start_us for n in (0, 39, 40, 69)
    )
    assert (step.cycles_before, step.cycles_after) == (40, 30)
    assert float(step.size_us) == pytest.approx(6 * SECOND, abs=0.2 * SECOND)
    assert step.low_us < step.size_us < step.high_us
    assert step.before_us == Fraction(sum(c.duration_us for c in typical(cycles[:40])), 32)
    assert step.split.p < 1e-6


def test_cutting_of_both_tools_accounts_for_it():
    cycles = run((40, {"cutting": 100 * SECOND}), (30, {"cutting": 106 * SECOND}))
    found = level_steps(cycles)[0].shares
    assert found.step_us["cutting"] == 6 * SECOND
    assert found.step_us["tool_change"] == found.step_us["positioning"] == found.step_us["held"] == 0
    assert {t.tool: t.cutting_us for t in found.tools} == {"1": 3 * SECOND, "2": 3 * SECOND}


def test_a_slower_change_is_told_with_its_tool():
    cycles = run((40, {"cutting": 100 * SECOND}), (40, {"cutting": 100 * SECOND, "change": 15 * SECOND}))
    found = level_steps(cycles)[0].shares
    assert found.step_us["tool_change"] == 5 * SECOND
    first = found.tools[0]
    assert (first.tool, first.cutting_us, first.other_us, first.both_us) == ("2", 0, 5 * SECOND, 5 * SECOND)


def test_a_tool_that_went_and_one_that_came():
    more = {"cutting": 104 * SECOND, "tools": ("1", "9")}
    found = level_steps(run((40, {"cutting": 100 * SECOND}), (40, more)))[0].shares
    by_tool = {t.tool: t.cutting_us for t in found.tools}
    assert by_tool == {"1": 2 * SECOND, "2": -50 * SECOND, "9": 52 * SECOND}


def test_only_steady_cycles_enter():
    cycles = run((40, {"cutting": 100 * SECOND}), (40, {"cutting": 106 * SECOND}))
    more = [cycle(c.start_us + MINUTE * 3, 30 * SECOND, outcome=ABORTED) for c in cycles]
    assert level_steps(cycles + more) == level_steps(cycles)


def test_small_steps_are_left_out_on_demand():
    cycles = run((40, {"cutting": 100 * SECOND}), (40, {"cutting": 101 * SECOND}))
    assert level_steps(cycles)
    assert level_steps(cycles, 0.02) == []


def test_too_few_cycles_tell_nothing():
    assert level_steps([]) == level_steps(run((3, {"cutting": 100}))) == []


@given(st.lists(st.integers(1, 10**9), min_size=1, max_size=60))
def test_typical_cycles_are_those_that_the_level_is_the_mean_of(lengths):
    kept = typical(cycle(n * 10**10, length) for n, length in enumerate(lengths))
    level = Level.of([float(length) for length in lengths])
    assert level.kept == len(kept)
    assert level.mean == pytest.approx(sum(c.duration_us for c in kept) / len(kept), rel=1e-12)


@st.composite
def any_cycle(draw: st.DrawFn) -> Cycle:
    """A cycle of any steps and tools, in which not all time has a tool."""
    steps = [draw(st.integers(0, 10**8)) for _ in STEPS]
    length = sum(steps)
    tools, left = [], length
    for order, tool in enumerate(draw(st.lists(st.sampled_from("1234"), unique=True)), 1):
        spindle = draw(st.integers(0, left))
        left -= spindle
        tools.append(ToolUse(tool, order, spindle, draw(st.integers(0, spindle))))
    return cycle(0, length, step_us=tuple(steps), tools=tuple(tools))


several = st.lists(any_cycle(), min_size=1, max_size=7)


@given(several, several)
def test_steps_and_tools_each_sum_to_the_difference_exactly(before, after):
    found = shares(before, after)
    mean = [Fraction(sum(c.duration_us for c in side), len(side)) for side in (before, after)]
    assert found.size_us == mean[1] - mean[0]
    assert sum(found.step_us.values()) == found.size_us
    assert sum(t.both_us for t in found.tools) + found.no_tool_us == found.size_us


@given(several, several)
def test_the_other_way_round_has_the_other_sign(before, after):
    there, back = shares(before, after), shares(after, before)
    assert {k: -v for k, v in there.step_us.items()} == back.step_us
    assert {t.tool: -t.both_us for t in there.tools} == {t.tool: t.both_us for t in back.tools}
