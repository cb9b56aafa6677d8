"""Two samples of cycles side by side: what enters, what is told, and in which words."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from swarfline.facts import ABORTED, PARTIAL, STEPS, ToolUse
from swarfline.measure.ranks import LEVEL
from swarfline.measure.ruling import cautions, in_words
from swarfline.measure.study import (
    FASTER,
    FEWEST,
    NOT_SHOWN,
    RULINGS,
    SLOWER,
    TOO_FEW,
    UNCLEAR,
    Sample,
    Study,
    effective_count,
    mean_difference,
)
from swarfline.measure.trend import autocorrelation

from .timelines import SECOND, cycle

TURN = [0.0, 1.0, -1.0, 0.5, -0.5]
"""Offsets whose autocorrelation is negative, so that every cycle counts."""


def sample(level_s, count=20, **more):
    return Sample.of(
        cycle(i * 100 * SECOND, round((level_s + TURN[i % 5]) * SECOND), **more) for i in range(count)
    )


def of(values_s):
    return Sample.of(cycle(i * 1000 * SECOND, round(v * SECOND)) for i, v in enumerate(values_s))


def test_only_steady_cycles_enter_and_the_others_are_counted():
    found = Sample.of(
        [
            cycle(0, 40 * SECOND),
            cycle(50 * SECOND, 60 * SECOND, held=10 * SECOND),
            cycle(120 * SECOND, 10 * SECOND, outcome=ABORTED, held=SECOND),
            cycle(140 * SECOND, 10 * SECOND, outcome=PARTIAL),
            cycle(160 * SECOND, 42 * SECOND, parts=3),
            cycle(210 * SECOND, 5 * SECOND, open=True),
            cycle(220 * SECOND, 40 * SECOND, unobserved_us=SECOND),
        ]
    )
    assert found.values_s == (40, 42)
    assert (found.held, found.unobserved, found.aborted, found.partial, found.running) == (1, 1, 1, 1, 1)
    assert found.left_out == 5
    assert (found.mean_s, found.median_s, found.parts, found.per_part_s) == (41, 41, 4, 20.5)


def test_a_plain_difference_is_shown():
    found = Study(sample(40), sample(38))
    assert found.ruling == FASTER
    assert (found.means.difference, found.shift_s) == pytest.approx((-2, -2))
    low, high = found.means.interval
    assert low < -2 < high < 0
    assert in_words(found).startswith("The second is faster by 2.00 s a cycle (95 %: ")
    assert in_words(found).endswith("5.0 % of the first.")
    back = Study(found.second, found.first)
    assert back.ruling == SLOWER and back.shift_s == 2
    assert back.means.interval == pytest.approx((-high, -low))


def test_no_difference_shown_is_not_called_none():
    found = Study(sample(40), sample(40.1))
    assert found.ruling == NOT_SHOWN
    text = in_words(found)
    assert "not shown" in text and "no proof of none" in text
    assert "faster to" in text and "slower than the first" in text


def test_one_odd_cycle_moves_the_mean_but_not_the_ruling():
    odd = of([*sample(38).values_s, 400])
    found = Study(sample(40), odd)
    assert found.means.difference > 0 > found.shift_s
    assert found.ruling == UNCLEAR
    assert in_words(found) == (
        "Not clear: the typical cycle is shorter, but for the mean a difference is not shown. "
        "Look at the longest cycles, or get more of them."
    )


def test_too_few_cycles_are_said_to_be_too_few():
    found = Study(sample(40, FEWEST - 1), sample(30))
    assert found.ruling == TOO_FEW
    assert in_words(found) == f"Not enough cycles: {FEWEST - 1} and 20 steady ones; at least 8 of each are needed."
    assert Study(sample(40, FEWEST), sample(30)).ruling == FASTER
    empty = Study(of([]), sample(30))
    assert (empty.ruling, empty.means, empty.ranks, empty.shift_s, empty.pieces) == (TOO_FEW, None, None, None, [])
    nothing = empty.first
    assert nothing.mean_s is nothing.median_s is nothing.deviation_s is nothing.per_part_s is None


def test_the_mean_and_the_typical_cycle_may_move_in_opposite_ways():
    found = Study(sample(40, 100), of([60 if i % 4 == 0 else 38 + TURN[i % 5] / 2 for i in range(100)]))
    assert found.means.interval[0] > 0 > found.shift_interval_s[1]
    assert found.ruling == UNCLEAR
    assert "opposite ways" in in_words(found)


def test_equal_times_without_any_spread():
    found = Study(of([40] * 10), of([39] * 10))
    assert found.ruling == FASTER
    assert found.means.interval == (-1, -1) and found.means.t is found.means.df is found.means.p is None
    assert Study(of([40] * 10), of([40] * 10)).ruling == NOT_SHOWN


def test_cycles_that_follow_one_another_count_for_less():
    rising = of([40 + i // 10 for i in range(40)])
    assert rising.autocorrelation > 0.8 and rising.effective < 5
    assert effective_count(sample(40).values_s) == 20
    (caution,) = cautions(Study(sample(40), rising))
    assert "autocorrelation 0.9" in caution and "its 40 count as" in caution
    turns, waves = [40.0, 41.0] * 20, [40.0 + i // 4 % 2 for i in range(40)]
    narrow, wide = mean_difference(turns, turns), mean_difference(turns, waves)
    assert wide.interval[1] - wide.interval[0] > 1.3 * (narrow.interval[1] - narrow.interval[0])


def test_a_steady_drift_tells_too_little():
    found = Study(of([40 + i / 100 for i in range(300)]), sample(45))
    assert found.ruling == TOO_FEW
    assert "so like the one before" in in_words(found)
    assert autocorrelation([1.0, 2.0]) is autocorrelation([3.0] * 9) is None


def test_many_cycles_left_out_and_other_parts_a_cycle_are_cautioned():
    held = [cycle((i + 500) * 100 * SECOND, 60 * SECOND, held=SECOND) for i in range(10)]
    first = Sample.of([*sample(40).cycles, *held])
    few = Sample.of([*sample(40).cycles, *held[:4]])
    assert cautions(Study(few, sample(40))) == []
    told = cautions(Study(first, sample(40, parts=2)))
    assert told[0] == "Of the first, 10 of 30 cycles were left out (10 held, 0 aborted, 0 partial, 0 running)."
    assert told[1] == "The first makes 1.00 parts a cycle, the second 2.00: compare the times per part."


def steps_of(cutting, other):
    return tuple({"cutting": cutting, "other": other}.get(s, 0) * SECOND for s in STEPS)


def use(tool, seconds, order=1):
    return ToolUse(tool, order, seconds * SECOND, 0)


def test_steps_and_tools_account_for_the_difference():
    first = Sample.of(
        cycle(i * 100 * SECOND, 40 * SECOND, step_us=steps_of(30, 10), tools=(use("3", 20), use("5", 9)))
        for i in range(10)
    )
    second = Sample.of(
        cycle(i * 100 * SECOND, 37 * SECOND, step_us=steps_of(28, 9), tools=(use("3", 10), use("3", 8, 2)))
        for i in range(10)
    )
    pieces = Study(first, second, ("cutting", "other", "held")).pieces
    assert [(p.kind, p.name, p.first_mean_s, p.second_mean_s, p.change.difference) for p in pieces] == [
        ("step", "cutting", 30, 28, -2),
        ("step", "other", 10, 9, -1),
        ("tool", "5", 9, 0, -9),
        ("tool", "3", 20, 18, -2),
    ]


def test_tools_are_not_compared_where_one_side_tells_none():
    first = sample(40, tools=(use("3", 20),))
    assert [p.kind for p in Study(first, sample(39), ("other",)).pieces] == ["step"]


lengths = st.lists(st.integers(1, 200), max_size=25)


@given(lengths, lengths)
def test_steps_add_up_and_there_is_always_a_ruling(first, second):
    found = Study(of(first), of(second))
    assert found.ruling in RULINGS
    assert in_words(found)
    if found.pieces:
        total = sum(p.second_mean_s - p.first_mean_s for p in found.pieces)
        assert total == pytest.approx(found.second.mean_s - found.first.mean_s, abs=1e-9)


def test_the_texts_say_how_sure_intervals_are():
    assert LEVEL == 0.95  # the sentences of ruling.py and runoff.py say 95 %
