"""Time elements: they tile planned time, and parts of a span add up to the whole."""

from fractions import Fraction

from hypothesis import given
from hypothesis import strategies as st

from swarfline.calendar import intersect, total
from swarfline.facts import CONDITIONS, PRODUCING, UNOBSERVED
from swarfline.measure.elements import DELAY, DOWN, NOT_PRODUCING, TimeElements, time_elements

from .timelines import END, plans, spans, tiled, timelines


def test_every_condition_has_its_element():
    assert {*NOT_PRODUCING, PRODUCING, UNOBSERVED} == set(CONDITIONS)
    assert {*DELAY, *DOWN, "setup"} == set(NOT_PRODUCING)


def test_a_shift_with_a_break_a_gap_and_overtime():
    facts = tiled([(10, "setup"), (50, "producing"), (20, "unobserved"), (15, "fault"), (25, "producing")])
    found = time_elements(facts, [(0, 40), (50, 100)], (0, 200))
    assert found.planned_us == 90
    assert found.unobserved_us == 20
    assert found.observed_us == 70
    assert found.setup_us == 10
    assert found.delay_us == 15
    assert found.producing_outside_us == 10 + 20
    assert found.planned_busy_us == 70 + 30
    assert found.production_us == 75
    assert found.coverage == Fraction(70, 90)


def test_planned_time_that_nothing_tells_of_is_unobserved():
    found = time_elements([], [(0, 100)], (20, 60))
    assert (found.planned_us, found.unobserved_us, found.planned_busy_us) == (40, 40, 0)
    assert found.coverage == 0


def test_no_planned_time_has_no_coverage():
    found = time_elements(tiled([(10, "producing")]), [], (0, 10))
    assert found.coverage is None
    assert found.planned_busy_us == found.producing_outside_us == 10
    assert TimeElements().coverage is None


def test_waiting_outside_of_planned_time_counts_nowhere():
    found = time_elements(tiled([(10, "waiting")]), [(20, 30)], (0, 30))
    assert found.outside("waiting") == 10
    assert found.planned_busy_us == found.down_us == 0


@given(timelines(), plans(), spans)
def test_elements_tile_planned_time(facts, planned, span):
    found = time_elements(facts, planned, span)
    window = intersect(planned, [span]) if span[0] < span[1] else []
    assert found.planned_us == total(window)
    assert min(found.inside_us) >= 0
    assert min(found.outside_us) >= 0
    assert (
        found.setup_us + found.delay_us + found.down_us + found.production_us
        == found.planned_busy_us
        == found.observed_us + found.producing_outside_us
    )


@given(timelines(), plans(), spans)
def test_each_microsecond_is_booked_where_it_lies(facts, planned, span):
    found = time_elements(facts, planned, span)
    for condition in NOT_PRODUCING:
        moments = [t for f in facts if f.condition == condition for t in range(f.start_us, f.end_us)]
        inside = [t for t in moments if span[0] <= t < span[1] and any(a <= t < b for a, b in planned)]
        assert found.inside(condition) == len(inside)


@given(timelines(), plans(), spans, st.integers(0, END))
def test_splitting_a_span_and_adding_is_the_whole(facts, planned, span, at):
    cut = min(max(at, span[0]), span[1])
    first, second = time_elements(facts, planned, (span[0], cut)), time_elements(facts, planned, (cut, span[1]))
    assert first + second == time_elements(facts, planned, span)
