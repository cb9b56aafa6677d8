"""OEE: the product of its factors is the direct ratio exactly, and what is not defined has no value."""

from fractions import Fraction

from hypothesis import given
from hypothesis import strategies as st

from swarfline.calendar import Calendar, Shift, to_us
from swarfline.facts import SCRAP, TOTAL, Count
from swarfline.measure.elements import TimeElements, time_elements
from swarfline.measure.oee import HINT_BY_COUNT, HINT_LATE, HINT_NO_PLAN, HINT_TOO_LONG, OeeSums, oee
from swarfline.measure.production import PartPlan, Production, production

from .timelines import END, HOUR, MINUTE, PLANS, WEEK, counts, plans, product, spans, tiled, timelines

FACTORS = ("availability", "effectiveness", "quality_ratio")


def sums(facts, planned, span, made, part_plans=PLANS):
    return OeeSums.of(time_elements(facts, planned, span), production(made, [], part_plans, span))


def test_nothing_planned_and_nothing_made_has_no_value():
    assert {name: f.value for name, f in oee(OeeSums()).items()} == dict.fromkeys((*FACTORS, "oee"))


def test_a_planned_shift_without_production_is_zero_and_its_quality_unknown():
    found = oee(sums(tiled([(100, "fault")]), [(0, 100)], (0, 100), []))
    assert (found["availability"].value, found["oee"].value) == (0, 0)
    assert found["effectiveness"].value is None
    assert found["quality_ratio"].value is None


def test_an_unobserved_shift_has_no_value_and_no_coverage():
    found = oee(sums([], [(0, 100)], (0, 100), []))
    assert all(f.value is None and f.coverage == 0 for f in found.values())


def test_above_one_stands_with_a_hint():
    plan = {"PH-12": PartPlan("PH-12", 30)}
    found = oee(sums(tiled([(100, "producing")]), [(0, 100)], (0, 100), [Count("N1", 9, TOTAL, 4, "PH-12")], plan))
    assert found["effectiveness"].exact == Fraction(12, 10) == found["oee"].exact
    assert found["effectiveness"].hint == found["oee"].hint == HINT_TOO_LONG
    assert found["availability"].hint == found["quality_ratio"].hint == ""


def test_a_missing_plan_leaves_no_speed_and_takes_quality_by_count():
    made = [Count("N1", 9, TOTAL, 4, "MB-05"), Count("N1", 9, SCRAP, 1, "MB-05")]
    found = oee(sums(tiled([(100, "producing")]), [(0, 100)], (0, 100), made))
    assert found["oee"].value is None
    assert found["effectiveness"].value is None
    assert found["oee"].hint == found["effectiveness"].hint == HINT_NO_PLAN
    assert found["quality_ratio"].exact == Fraction(3, 4)
    assert found["quality_ratio"].hint == HINT_BY_COUNT
    assert found["quality_ratio"].estimate
    assert found["availability"].value == 1


def test_quality_by_count_leaves_out_what_was_counted_across_a_gap():
    made = [
        Count("N1", 9, TOTAL, 10, "MB-05"), Count("N1", 9, SCRAP, 2, "MB-05"),
        Count("N1", 50, TOTAL, 30, "MB-05", across_gap=True), Count("N1", 50, SCRAP, 5, "MB-05", across_gap=True),
    ]  # fmt: skip
    quality = oee(sums(tiled([(100, "producing")]), [(0, 100)], (0, 100), made))["quality_ratio"]
    assert (quality.numerator, quality.denominator) == (8, 10)


def test_an_estimated_time_marks_what_rests_on_it():
    made = Production({}, Fraction(50), Fraction(50), estimate=True)
    found = oee(OeeSums.of(TimeElements(), made))
    assert found["oee"].estimate
    assert found["effectiveness"].estimate
    assert not found["availability"].estimate


def test_late_scrap_is_told():
    made = [Count("N1", 9, TOTAL, 1, "PH-12"), Count("N1", 9, SCRAP, 2, "PH-12")]
    found = oee(sums(tiled([(100, "producing")]), [(0, 100)], (0, 100), made))
    assert found["quality_ratio"].hint == HINT_LATE


@given(timelines(), plans(), spans, counts)
def test_the_product_of_the_factors_is_the_oee_exactly(facts, planned, span, made):
    found = oee(sums(facts, planned, span, made))
    exact = [found[name].exact for name in FACTORS]
    if None not in exact:
        assert product(exact) == found["oee"].exact


@given(timelines(), plans(), spans, counts, st.integers(0, END))
def test_splitting_a_span_and_adding_is_the_whole(facts, planned, span, made, at):
    cut = min(max(at, span[0]), span[1])
    first, second = (sums(facts, planned, part, made) for part in ((span[0], cut), (cut, span[1])))
    assert first + second == sums(facts, planned, span, made)


def week_of(shift_us):
    """A shift's worth of machine time under a calendar in a zone without clock changes."""
    from datetime import UTC, datetime, time
    from zoneinfo import ZoneInfo

    calendar = Calendar(ZoneInfo("Asia/Tokyo"), (Shift("early", time(6), time(14), frozenset({1, 2, 3, 4, 5})),))
    start = to_us(datetime(2026, 6, 14, 21, tzinfo=UTC)) + shift_us
    facts = tiled(
        [(HOUR, "setup"), (5 * HOUR, "producing"), (20 * MINUTE, "fault"), (3 * HOUR, "producing")], start
    )
    made = [Count("N1", start + i * HOUR, TOTAL, 7, "PH-12") for i in range(9)]
    span = (start - HOUR, start + 12 * HOUR)
    return sums(facts, calendar.planned("N1", *span), span, made)


@given(st.integers(-100, 100))
def test_a_shift_by_whole_weeks_changes_nothing(weeks):
    assert week_of(weeks * WEEK) == week_of(0)
    assert week_of(0).planned_us == 8 * HOUR
