"""Run-off: which cycles enter, what is counted beside them, and how it is judged."""

import pytest

from swarfline.facts import ABORTED, PARTIAL, STEPS
from swarfline.measure.runoff import (
    CAPABLE,
    FEWEST,
    NO_LIMIT,
    NOT_CAPABLE,
    OPEN,
    TARGET,
    TOO_FEW,
    cautions,
    in_words,
    run_off,
)

from .timelines import SECOND, cycle

MADE = ("P1", "PH-12")
TURN = [0.0, 1.0, -1.0, 0.5, -0.5]


def run(level_s, count=50, **more):
    return [cycle(i * 100 * SECOND, round((level_s + TURN[i % 5]) * SECOND), **more) for i in range(count)]


def of(cycles, asked=50, limit_s=45.0, **more):
    return run_off(cycles, MADE, asked, None if limit_s is None else limit_s * SECOND, **more)


def test_a_run_well_below_the_planned_time_is_capable():
    found = of(run(40))
    assert (found.sample.count, found.sample.mean_s, found.limit_s) == (50, 40, 45)
    assert found.index == pytest.approx(5 / 3 / found.sample.deviation_s)
    low, high = found.index_interval
    assert TARGET < low < found.index < high
    assert found.ruling == CAPABLE
    assert in_words(found).startswith(f"Shown: Cmk lies between {low:.2f} and {high:.2f}")
    assert cautions(found) == []


@pytest.mark.parametrize(("limit_s", "ruling"), [(43, OPEN), (41, NOT_CAPABLE), (None, NO_LIMIT)])
def test_rulings(limit_s, ruling):
    found = of(run(40), limit_s=limit_s)
    assert found.ruling == ruling
    words = {
        OPEN: "do not settle the target of 1.33",
        NOT_CAPABLE: "Not reached",
        NO_LIMIT: "no planned cycle time",
    }
    assert words[ruling] in in_words(found)


def test_a_mean_above_the_planned_time_is_told_first():
    assert in_words(of(run(40), limit_s=38)) == (
        "Not reached: the mean lies beyond the limit, 2.00 s above the longest time allowed."
    )


def test_another_target():
    assert of(run(40), target=3.0).ruling == NOT_CAPABLE


def test_few_cycles_are_not_judged_but_their_lower_bound_is_told():
    found = of(run(40, FEWEST - 1))
    assert found.ruling == TOO_FEW
    assert in_words(found) == (
        f"Not enough cycles: 29 steady ones; 30 are needed. Cmk is {found.index_interval[0]:.2f} at least "
        "(95 % interval)."
    )
    assert cautions(found) == ["Only 29 of 50 cycles are there."]


def test_the_newest_cycles_count_and_those_between_them_are_told():
    cycles = run(40, 60)
    cycles[20] = cycle(20 * 100 * SECOND, 80 * SECOND, held=30 * SECOND)
    cycles[21] = cycle(21 * 100 * SECOND, 10 * SECOND, outcome=ABORTED)
    cycles[22] = cycle(22 * 100 * SECOND, 10 * SECOND, outcome=PARTIAL, parts=0)
    cycles[23] = cycle(23 * 100 * SECOND, 10 * SECOND, program="P2")
    cycles.append(cycle(6000 * SECOND, 5 * SECOND, open=True))
    found = of(reversed(cycles))
    assert found.sample.count == 50
    assert found.span_us == (600 * SECOND, 5900 * SECOND + round((40 + TURN[4]) * SECOND))
    assert (found.sample.held, found.sample.aborted, found.sample.partial, found.other) == (1, 1, 1, 1)
    assert (found.parts, found.parts_beside) == (51, 1)
    assert found.parts_per_hour == pytest.approx(51 * 3600 / (5300 + 39.5))
    assert found.parts_per_hour_running == pytest.approx(90, rel=1e-3)
    assert found.longest_wait.length_us == 90 * SECOND
    assert found.longest_wait.start_us == 2110 * SECOND
    assert cautions(found)[-1] == (
        "The run was not without a break. Cycles in between that are not judged: "
        "1 held, 1 aborted, 1 partly seen, 1 of something else."
    )


def test_cycles_over_the_planned_time_are_counted():
    found = of(run(40), limit_s=40.5)
    assert found.over == 10
    low, high = found.over_interval
    assert low < 0.2 < high


def test_share_cutting_is_of_all_cycle_time():
    steps = tuple({"cutting": 30, "other": 10}.get(s, 0) * SECOND for s in STEPS)
    found = of([cycle(i * 100 * SECOND, 40 * SECOND, step_us=steps) for i in range(3)])
    assert (found.cutting.value, found.cutting.denominator) == (0.75, 120 * SECOND)


def test_no_spread_has_no_index():
    found = of([cycle(i * 100 * SECOND, 40 * SECOND) for i in range(40)])
    assert (found.index, found.index_interval, found.index_within, found.ruling) == (None, None, None, CAPABLE)
    assert "All 40 cycles took the same time, within" in in_words(found)
    slow = of([cycle(i * 100 * SECOND, 46 * SECOND) for i in range(40)])
    assert slow.ruling == NOT_CAPABLE and "above" in in_words(slow)


def test_nothing_made_tells_nothing():
    found = of([])
    assert found.ruling == TOO_FEW
    assert (
        found.span_us is found.index is found.longest_wait is found.parts_per_hour is found.over_interval is None
    )
    assert found.cutting.value is None and found.parts_per_hour_running is None
    assert in_words(found) == "Not enough cycles: 0 steady ones; 30 are needed."


def test_a_run_that_is_not_steady_is_cautioned():
    jump = [cycle(i * 100 * SECOND, (40 if i < 25 else 42) * SECOND + i % 2 * 100_000) for i in range(50)]
    told = cautions(of(jump))
    assert "beyond the limits of single cycles" in told[0]
    assert "autocorrelation" in told[1]
