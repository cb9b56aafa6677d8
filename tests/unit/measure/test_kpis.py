"""The KPIs of ISO 22400-2: what follows from sums, what has no value, and that sums add."""

from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from swarfline.facts import SCRAP, TOTAL, Condition, Count
from swarfline.measure.elements import time_elements
from swarfline.measure.energy import EnergySums
from swarfline.measure.kpis import FAMILIES, UNTOLD, Events, KpiSums, events, kpis
from swarfline.measure.oee import HINT_TOO_LONG
from swarfline.measure.production import PartPlan, production
from swarfline.measure.stops import stops

from .timelines import END, HOUR, MINUTE, PLANS, SECOND, WEEK, counts, plans, spans, tiled, timelines

LIMIT = 60


def sums(facts, planned, span, made=(), part_plans=PLANS, limit=LIMIT, tells=FAMILIES):
    made_here = production(made, [], part_plans, span)
    elements = time_elements(facts, planned, span)
    begun = events(stops(facts, planned, span, limit), span)
    return KpiSums.of(elements, made_here, begun, EnergySums(), tells)


def values(found):
    return {name: figure.value for name, figure in kpis(found).items()}


SHIFT = tiled(
    [
        (30 * MINUTE, "setup"),
        (200 * MINUTE, "producing"),
        (2 * MINUTE, "held"),
        (100 * MINUTE, "producing"),
        (10 * MINUTE, "waiting"),
        (20 * MINUTE, "fault"),
        (8 * MINUTE, "waiting"),
        (50 * MINUTE, "producing"),
        (10 * MINUTE, "fault"),
        (50 * MINUTE, "producing"),
    ]
)
WHOLE = (0, 480 * MINUTE)
PLAN = {"PH-12": PartPlan("PH-12", MINUTE)}
MADE = [Count("N1", MINUTE, TOTAL, 320, "PH-12"), Count("N1", MINUTE, SCRAP, 8, "PH-12")]


def test_a_shift_by_hand():
    """PBT 480, APT 400, AUST 30, ADET 32, ADOT 18 min; failures at 342 and 420 min, long stops 30, 38, 10 min."""
    found = values(sums(SHIFT, [WHOLE], WHOLE, MADE, PLAN, 5 * MINUTE))
    assert {name: value for name, value in found.items() if value is not None} == pytest.approx(
        {
            "availability": 400 / 480,
            "effectiveness": 320 / 400,
            "quality_ratio": 312 / 320,
            "oee": 312 / 480,
            "net_equipment_effectiveness": 430 / 480 * 320 / 400 * 312 / 320,
            "utilization_efficiency": 400 / 462,
            "allocation_efficiency": 462 / 480,
            "technical_efficiency": 400 / 432,
            "setup_ratio": 30 / 430,
            "parts_per_busy_hour": 320 / 8,
            "scrap_ratio": 8 / 320,
            "mean_time_between_long_stops": 400 * 60 / 3,
            "mean_time_between_failures": 430 * 60 / 2,
            "mean_time_to_restore": (28 + 10) * 60 / 2,
        },
        rel=1e-12,
    )


def test_restoring_lasts_from_the_fault_to_the_end_of_the_stop_in_planned_time():
    facts = tiled([(10, "producing"), (10, "waiting"), (20, "fault"), (60, "waiting"), (10, "producing")])
    (stop,) = stops(facts, [(0, 50), (80, 200)], (0, 200), 5)
    assert stop.restore_us == 20 + 10 + 20, "the break from 50 to 80 does not count"
    (other,) = stops(tiled([(10, "waiting")]), [(0, 50)], (0, 50), 5)
    assert other.restore_us is None


def test_a_failure_belongs_to_the_span_in_which_its_stop_begins_with_all_its_time():
    facts = tiled([(90, "producing"), (30, "fault"), (80, "producing")])
    first, second = (sums(facts, [(0, 200)], span) for span in ((0, 100), (100, 200)))
    assert (first.events, second.events) == (Events(0, 1, 30), Events(0, 0, 0))


def test_without_failures_there_is_no_mean_and_it_is_said():
    found = kpis(sums(tiled([(100, "producing")]), [(0, 100)], (0, 100)))
    for name in ("mean_time_between_failures", "mean_time_to_restore", "mean_time_between_long_stops"):
        assert found[name].value is None and found[name].numerator is not None and found[name].hint


NEEDING = (
    *("utilization_efficiency", "allocation_efficiency", "technical_efficiency", "setup_ratio", "scrap_ratio"),
    *("mean_time_between_failures", "mean_time_to_restore"),
)


def test_what_a_machine_does_not_tell_is_unknown_not_zero():
    silent = kpis(sums(SHIFT, [WHOLE], WHOLE, MADE, PLAN, tells=()))
    for name in NEEDING:
        assert silent[name].value is None and silent[name].numerator is None and silent[name].hint, name


def test_machines_that_do_not_tell_are_left_out_of_a_sum_and_it_is_said():
    telling = sums(SHIFT, [WHOLE], WHOLE, MADE, PLAN)
    both = kpis(telling + sums(SHIFT, [WHOLE], WHOLE, MADE, PLAN, tells=()))
    for name in NEEDING:
        assert both[name].exact == kpis(telling)[name].exact and "left out" in both[name].hint, name


def test_parts_counted_across_gaps_do_not_speed_up_the_hour():
    made = [Count("N1", 0, TOTAL, 10, "PH-12"), Count("N1", 1, TOTAL, 90, "PH-12", across_gap=True)]
    found = kpis(sums(tiled([(HOUR, "producing")]), [(0, HOUR)], (0, HOUR), made))
    assert found["parts_per_busy_hour"].exact == 10


def test_without_a_planned_time_only_what_needs_it_is_unknown():
    found = values(sums(SHIFT, [WHOLE], WHOLE, MADE, {}))
    assert [n for n, v in found.items() if v is None] == [
        *("effectiveness", "oee", "net_equipment_effectiveness", "energy_per_part", "energy_per_good_part")
    ]


def test_nee_above_one_stands_with_its_hint():
    made = [Count("N1", 0, TOTAL, 200, "PH-12")]
    found = kpis(sums(tiled([(50, "setup"), (50, "producing")]), [(0, 100)], (0, 100), made))
    nee = found["net_equipment_effectiveness"]
    assert nee.exact == Fraction(200 * 7, 3 * 50) and nee.hint == HINT_TOO_LONG


def test_nothing_at_all_has_no_value():
    assert set(values(KpiSums()).values()) == {None}


def test_each_kpi_names_the_signal_that_it_needs():
    for family, signal, name in (
        ("faults", "alarm", "technical_efficiency"),
        ("setup", "mode", "setup_ratio"),
        ("scrap", "scrap_count", "scrap_ratio"),
    ):
        others = [f for f in FAMILIES if f != family]
        found = kpis(sums(SHIFT, [WHOLE], WHOLE, MADE, PLAN, tells=others))
        assert [n for n in NEEDING if signal in found[n].hint] == [n for n in NEEDING if found[n].value is None]
        assert signal in found[name].hint


def test_what_cannot_be_told_has_a_reason():
    told = set(kpis(KpiSums()))
    assert {"rework_ratio", "throughput_rate", "allocation_ratio", "first_pass_yield"} <= {u.name for u in UNTOLD}
    assert all(u.reason and u.name not in told for u in UNTOLD)


@given(timelines(), plans(), spans, counts)
def test_nee_is_the_product_that_the_standard_prints(facts, planned, span, made):
    found = sums(facts, planned, span, made)
    figures, elements = kpis(found), found.elements
    factors = [figures["effectiveness"].exact, figures["quality_ratio"].exact]
    nee = figures["net_equipment_effectiveness"].exact
    if None in factors or not elements.planned_busy_us:
        assert nee is None or factors[1] is None
    else:
        processing = Fraction(elements.production_us + elements.setup_us, elements.planned_busy_us)
        assert nee == processing * factors[0] * factors[1]


@given(timelines(), plans(), spans, counts, st.integers(0, END))
def test_splitting_a_span_and_adding_is_the_whole(facts, planned, span, made, at):
    cut = min(max(at, span[0]), span[1])
    first, second = (sums(facts, planned, part, made) for part in ((span[0], cut), (cut, span[1])))
    assert first + second == sums(facts, planned, span, made)


@given(timelines(), plans(), spans, counts)
def test_a_week_later_everything_is_the_same(facts, planned, span, made):
    later = [replace(f, start_us=f.start_us + WEEK, end_us=f.end_us + WEEK) for f in facts]
    counted = [replace(c, time_us=c.time_us + WEEK) for c in made]
    shifted = sums(later, _later(planned), _later([span])[0], counted)
    assert shifted == sums(facts, planned, span, made)


def _later(intervals):
    return [(start + WEEK, end + WEEK) for start, end in intervals]


def test_times_are_in_seconds():
    facts = [Condition("N1", 0, 3 * SECOND, "producing"), Condition("N1", 3 * SECOND, 4 * SECOND, "fault")]
    found = kpis(sums(facts, [(0, 10 * SECOND)], (0, 10 * SECOND)))
    assert (found["mean_time_between_failures"].numerator, found["mean_time_to_restore"].value) == (3, 1)
    assert found["mean_time_between_failures"].unit == "s"
