"""Pace: made against planned, by now and by the end."""

from fractions import Fraction

from swarfline.measure.pace import pace

SHIFT = (0, 1000)
PLANNED = [(0, 400), (500, 1000)]


def test_behind_at_half_time():
    found = pace(30, Fraction(10), PLANNED, SHIFT, 550)
    assert (found.planned_us, found.elapsed_us) == (900, 450)
    assert (found.target, found.expected, found.ahead) == (90, 45, -15)
    assert found.forecast == 60


def test_a_break_passes_no_planned_time():
    assert pace(40, Fraction(10), PLANNED, SHIFT, 400) == pace(40, Fraction(10), PLANNED, SHIFT, 500)
    assert pace(40, Fraction(10), PLANNED, SHIFT, 450).ahead == 0


def test_after_the_end_the_forecast_is_what_was_made():
    found = pace(100, Fraction(10), [*PLANNED, (1200, 2000)], SHIFT, 5000)
    assert (found.expected, found.ahead, found.forecast) == (found.target, 10, 100)


def test_before_the_start_nothing_is_foreseen():
    found = pace(0, Fraction(10), PLANNED, SHIFT, -5)
    assert (found.expected, found.target, found.forecast) == (0, 90, None)


def test_without_a_plan_there_is_no_target_but_a_forecast():
    found = pace(30, None, PLANNED, SHIFT, 550, estimate=True)
    assert found.target is found.expected is found.ahead is None
    assert found.forecast == 60
    assert not found.estimate
    assert pace(30, Fraction(10), PLANNED, SHIFT, 550, estimate=True).estimate
