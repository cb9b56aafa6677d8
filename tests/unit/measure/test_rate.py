"""Pace of cycles, and when it leads to a number of them."""

from dataclasses import replace
from fractions import Fraction

from hypothesis import given
from hypothesis import strategies as st

from swarfline.calendar import intersect
from swarfline.facts import ABORTED
from swarfline.measure import rate
from swarfline.measure.rate import HORIZON_US, CyclePace, after_work

from .timelines import HOUR, MINUTE, cycle

DAY = 24 * HOUR


def cycle_pace(cycles, worked):
    found = rate.cycle_pace(cycles, worked, 8 * HOUR)
    return found and found.per_us


def reach_time(cycles, per_us, planned_between, now):
    return after_work(CyclePace(per_us, None).work_us(cycles), planned_between, now)


def hourly(count, until):
    """Cycles of an hour, one after another, the last one ending at ``until``."""
    return [cycle(until - (i + 1) * HOUR, HOUR) for i in range(count)]


def shifts(start, end):
    """Eight hours planned from the beginning of each day."""
    days = [(d * DAY, d * DAY + 8 * HOUR) for d in range(start // DAY - 1, end // DAY + 2)]
    return intersect(days, [(start, end)])


def test_pace_is_cycles_by_planned_and_observed_time():
    assert cycle_pace(hourly(8, 8 * HOUR), [(0, 8 * HOUR)]) == Fraction(1, HOUR)
    waits = [cycle(i * 40 * MINUTE, 20 * MINUTE) for i in range(12)]
    assert cycle_pace(waits, [(0, 8 * HOUR)]) == Fraction(12, 8 * HOUR)


def test_only_the_recent_past_counts():
    slow_then_fast = hourly(20, 20 * HOUR) + [cycle(20 * HOUR + i * 30 * MINUTE, 30 * MINUTE) for i in range(16)]
    assert cycle_pace(slow_then_fast, [(0, 28 * HOUR)]) == Fraction(2, HOUR)


def test_too_few_recent_cycles_are_looked_for_longer_ago():
    rare = [cycle(i * 4 * HOUR, 4 * HOUR) for i in range(8)]
    assert cycle_pace(rare, [(0, 32 * HOUR)]) == Fraction(8, 32 * HOUR)
    assert cycle_pace(rare[:4], [(0, 16 * HOUR)]) is None
    lately = rare + [cycle(32 * HOUR + i * 3 * HOUR, 3 * HOUR) for i in range(5)]
    assert cycle_pace(lately, [(0, 47 * HOUR)]) == Fraction(6, 16 * HOUR), "no further back than it must"


def test_running_aborted_and_unplanned_cycles_do_not_count():
    good = hourly(8, 8 * HOUR)
    others = [
        cycle(7 * HOUR, HOUR // 2, open=True),
        cycle(6 * HOUR, HOUR // 2, outcome=ABORTED),
        cycle(9 * HOUR, HOUR),
    ]
    assert cycle_pace(good + others, [(0, 8 * HOUR)]) == Fraction(1, HOUR)


def test_no_worked_time_has_no_pace():
    assert cycle_pace(hourly(9, 9 * HOUR), []) is None


def test_a_time_is_reached_by_walking_through_planned_time():
    pace = Fraction(1, HOUR)
    assert reach_time(3, pace, shifts, 2 * HOUR) == 5 * HOUR
    assert reach_time(6, pace, shifts, 2 * HOUR) == 8 * HOUR, "it ends as the shift does"
    assert reach_time(7, pace, shifts, 2 * HOUR) == DAY + HOUR
    assert reach_time(1, pace, shifts, 12 * HOUR) == DAY + HOUR
    assert reach_time(80, pace, shifts, 0) == 9 * DAY + 8 * HOUR


def test_nothing_left_is_now_and_nothing_known_is_none():
    assert reach_time(0, Fraction(1, HOUR), shifts, 77) == 77
    assert after_work(None, shifts, 0) is None


def test_beyond_the_horizon_nothing_is_told():
    assert reach_time(5, Fraction(1, HOUR), lambda start, end: [], 0) is None
    far = reach_time(8 * 70, Fraction(1, HOUR), shifts, 0)
    assert far is None or far > HORIZON_US


@given(st.integers(1, 300), st.integers(0, 10 * DAY))
def test_the_planned_time_on_the_way_is_what_was_needed(cycles, now):
    at = reach_time(cycles, Fraction(1, HOUR), shifts, now)
    assert at is not None
    assert sum(end - start for start, end in shifts(now, at)) == cycles * HOUR


def pace_of(cycles, worked, **more):
    return rate.cycle_pace(cycles, worked, 8 * HOUR, **more)


def test_the_spread_is_of_worked_time_from_end_to_end():
    even = pace_of(hourly(8, 8 * HOUR), [(0, 8 * HOUR)])
    assert (even.times.mean, even.times.deviation) == (HOUR, 0)
    over_night = pace_of(hourly(4, 4 * HOUR) + hourly(4, DAY + 4 * HOUR), shifts(0, DAY + 4 * HOUR))
    assert over_night.times.deviation > 0, "the shift goes on after the fourth"
    tight = [cycle(s, HOUR) for d in range(2) for s in range(d * DAY, d * DAY + 8 * HOUR, HOUR)]
    assert rate.cycle_pace(tight, shifts(0, DAY + 8 * HOUR)).times.deviation == 0, "nights are not worked"


def test_a_long_stop_is_in_the_spread_wherever_it_lies():
    busy = [cycle(i * 10 * MINUTE, 10 * MINUTE) for i in range(30)]
    calm = pace_of(busy, [(0, 5 * HOUR)]).times.deviation
    stands = pace_of(busy, [(0, 8 * HOUR)]).times.deviation
    before = pace_of([cycle(-4 * HOUR, HOUR), *shifted(busy, 3 * HOUR)], [(-4 * HOUR, 8 * HOUR)]).times.deviation
    assert calm == 0
    assert stands > HOUR / 2, "it stands still now"
    assert before > HOUR / 2, "it stood still when the time looked at began"


def shifted(cycles, by):
    return [replace(c, start_us=c.start_us + by, end_us=c.end_us + by) for c in cycles]


def test_a_new_length_of_cycles_counts_at_once():
    slow = [cycle(i * 20 * MINUTE, 16 * MINUTE) for i in range(20)]
    fast = [cycle(400 * MINUTE + i * 10 * MINUTE, 8 * MINUTE) for i in range(8)]
    found = pace_of([*slow, *fast], [(0, 8 * HOUR)], alike=fast)
    assert found.per_us == Fraction(28, 8 * HOUR) * 2, "the median of all is 16 minutes, of the new ones 8"
    held = [*fast[:-1], cycle(470 * MINUTE, 500 * MINUTE)]
    assert pace_of([*slow, *fast], [(0, 8 * HOUR)], alike=held).per_us == found.per_us, (
        "one held cycle is no new length"
    )


def test_bounds_of_work_grow_with_the_bounds_of_cycles():
    waits = [cycle(i * 10 * MINUTE, (8 + i % 3) * MINUTE) for i in range(48)]
    pace = pace_of(waits, [(0, 8 * HOUR)])
    low, high = pace.work_bounds_us(30, 30, 30)
    lower, higher = pace.work_bounds_us(30, 25, 40)
    assert 0 < lower < low < pace.work_us(30) < high < higher
    assert pace.work_bounds_us(30, 25, None) == (lower, None)
    assert pace.work_bounds_us(0, 0, 0)[0] == 0, "not before now"
    assert CyclePace(Fraction(1, HOUR), None).work_bounds_us(5, 5, 5) == (None, None)
