"""Targets of people: spread over planned time, the later one first, and before the plan. Reckoned by hand."""

from fractions import Fraction

from swarfline.entries import Entry, Target
from swarfline.measure.pace import pace
from swarfline.measure.targets import Aims

SHIFT = (0, 1000)
PLANNED = [(0, 400), (500, 1000)]


def told(number, quantity, span=SHIFT, part="PH-12"):
    return Entry("N1", *span, Target(part, quantity), "Ana", 0, number=number)


def test_a_target_is_spread_over_the_planned_time_of_its_span():
    aims = Aims([told(1, 90)], PLANNED)
    assert [aims.due(s) for s in ((0, 1000), (0, 400), (400, 500), (500, 600), (600, 600))] == [90, 40, 0, 10, 0]


def test_a_span_without_planned_time_is_spread_over_by_the_clock():
    assert Aims([told(1, 10, (2000, 3000))], PLANNED).due((2500, 9000)) == 5


def test_the_later_one_of_a_part_holds_where_both_are_told():
    aims = Aims([told(2, 20, (500, 1000)), told(1, 90)], PLANNED)
    assert aims.due(SHIFT) == 40 + 20
    assert Aims([told(2, 50), told(1, 90)], PLANNED).due(SHIFT) == 50


def test_targets_of_different_parts_add_up_but_one_of_any_part_replaces_them():
    both = [told(1, 60), told(2, 30, part="VC-30")]
    assert Aims(both, PLANNED).due(SHIFT) == 90
    assert Aims([*both, told(3, 45, part="")], PLANNED).due(SHIFT) == 45
    assert Aims([told(1, 45, part=""), told(2, 60)], PLANNED).due(SHIFT) == 60


def test_a_target_goes_before_the_plan():
    found = pace(30, Fraction(10), PLANNED, SHIFT, 550, True, Aims([told(1, 180)], PLANNED))
    assert (found.target, found.expected, found.ahead) == (180, 90, -60)
    assert found.told and not found.estimate


def test_time_that_no_target_is_about_keeps_the_plan():
    found = pace(30, Fraction(10), PLANNED, SHIFT, 550, True, Aims([told(1, 10, (0, 450))], PLANNED))
    assert (found.target, found.expected) == (10 + 50, 10 + 5)
    assert found.told and found.estimate


def test_a_target_is_enough_where_there_is_no_plan():
    whole = pace(30, None, PLANNED, SHIFT, 550, aims=Aims([told(1, 90)], PLANNED))
    assert (whole.target, whole.expected) == (90, 45)
    some = pace(30, None, PLANNED, SHIFT, 550, aims=Aims([told(1, 10, (0, 450))], PLANNED))
    assert (some.target, some.expected) == (None, None)


def test_a_target_of_nothing_means_nothing():
    found = pace(0, Fraction(10), PLANNED, SHIFT, 550, aims=Aims([told(1, 0)], PLANNED))
    assert (found.target, found.ahead) == (0, 0)


def test_a_target_elsewhere_changes_nothing():
    aims = Aims([told(1, 90, (5000, 6000))], PLANNED)
    assert pace(30, Fraction(10), PLANNED, SHIFT, 550, True, aims) == pace(
        30, Fraction(10), PLANNED, SHIFT, 550, True
    )
