"""Lengths inside a span are those that a walk over the intervals gives."""

from hypothesis import given

from swarfline.calendar import intersect, total
from swarfline.measure.lengths import Lengths

from .timelines import plans, spans


@given(plans(), spans)
def test_lengths_are_those_of_the_common_parts(intervals, span):
    assert Lengths(intervals).within(span) == total(intersect(intervals, [span] if span[0] < span[1] else []))


def test_touching_intervals_and_spans_outside():
    found = Lengths([(0, 10), (10, 30), (50, 60)])
    assert [found.within(s) for s in ((-5, 5), (5, 55), (30, 50), (60, 90), (40, 20))] == [5, 30, 0, 0, 0]
    assert found.within_all([(0, 5), (55, 70)]) == 10
    assert Lengths([]).within((0, 10)) == 0
