"""Losses: the planned busy time without remainder."""

from fractions import Fraction

from hypothesis import given
from hypothesis import strategies as st

from swarfline.facts import SCRAP, TOTAL, Condition, Count
from swarfline.measure.elements import time_elements
from swarfline.measure.losses import Losses, losses
from swarfline.measure.oee import OeeSums
from swarfline.measure.production import PartPlan, production
from swarfline.measure.stops import stops

from .timelines import END, PLANS, counts, plans, spans, tiled, timelines


def split(facts, planned, span, made, part_plans=PLANS, short=60):
    sums = OeeSums.of(time_elements(facts, planned, span), production(made, [], part_plans, span))
    return losses(sums, stops(facts, planned, span, short))


PLAN = PartPlan("PH-12", 10)


def test_a_shift_is_split_into_what_it_went_to():
    facts = tiled([(50, "setup"), (200, "producing"), (20, "waiting"), (130, "producing"), (100, "fault")])
    made = [Count("N1", 60, TOTAL, 30, "PH-12"), Count("N1", 60, SCRAP, 2, "PH-12")]
    found = split(facts, [(0, 500)], (0, 500), made, {"PH-12": PLAN}, short=60)
    rows = {(r.name, r.length): (r.time_us, r.parts) for r in found.rows(PLAN) if r.time_us}
    assert rows == {
        ("setup", "short"): (50, 5),
        ("waiting", "short"): (20, 2),
        ("fault", "long"): (100, 10),
        ("good_parts", ""): (280, 28),
        ("scrap_parts", ""): (20, 2),
        ("slow_running", ""): (30, 3),
    }
    assert [r.seconds for r in found.rows() if r.name == "good_parts"] == [0.00028]
    assert all(r.parts is None for r in found.rows())


def test_faster_than_planned_is_negative_and_shown():
    found = split(
        tiled([(100, "producing")]), [(0, 100)], (0, 100), [Count("N1", 1, TOTAL, 12, "PH-12")], {"PH-12": PLAN}
    )
    assert found.slow_us == -20
    assert sum(r.time_us for r in found.rows()) == 100


def test_without_a_planned_time_production_is_not_split():
    found = split(tiled([(100, "producing")]), [(0, 100)], (0, 100), [Count("N1", 1, TOTAL, 12, "MB-05")])
    assert found.slow_us is None
    assert [(r.name, r.time_us) for r in found.rows() if r.time_us] == [("producing", 100)]
    assert (found + Losses()).good_us is None


def test_time_by_reason():
    facts = [
        Condition("N1", 0, 30, "fault", "E41", "coolant low"),
        Condition("N1", 30, 50, "producing"),
        Condition("N1", 50, 60, "waiting"),
    ]
    assert split(facts, [(0, 100)], (0, 100), []).by_reason() == {"coolant low": 30, "": 10}


@given(timelines(), plans(), spans, counts)
def test_losses_sum_to_the_planned_busy_time_exactly(facts, planned, span, made):
    found = split(facts, planned, span, made)
    assert sum(r.time_us for r in found.rows()) == found.planned_busy_us
    assert sum(found.by_reason().values()) == found.planned_busy_us - found.production_us
    parts = [r.parts for r in found.rows(PLANS["PH-12"])]
    assert sum(parts) == Fraction(3, 7) * found.planned_busy_us


@given(timelines(), plans(), spans, counts, st.integers(0, END))
def test_splitting_a_span_and_adding_is_the_whole(facts, planned, span, made, at):
    cut = min(max(at, span[0]), span[1])
    first, second = (split(facts, planned, part, made) for part in ((span[0], cut), (cut, span[1])))
    assert (first + second).rows() == split(facts, planned, span, made).rows()
