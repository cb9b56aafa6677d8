"""Pace of cycles, and when it leads to a number of them."""

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
