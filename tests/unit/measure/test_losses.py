"""Losses: the planned busy time without remainder."""

from dataclasses import replace
from fractions import Fraction

from hypothesis import given
from hypothesis import strategies as st

from swarfline.facts import SCRAP, TOTAL, Condition, Count
from swarfline.measure.elements import time_elements
from swarfline.measure.losses import Losses, Price, StoppedTimes, added, losses
from swarfline.measure.oee import OeeSums
from swarfline.measure.production import PartPlan, production
from swarfline.measure.stops import stops

from .timelines import END, PLANS, WEEK, counts, plans, spans, tiled, timelines


def split(facts, planned, span, made, part_plans=PLANS, short=60):
    sums = OeeSums.of(time_elements(facts, planned, span), production(made, [], part_plans, span))
    return losses(sums, StoppedTimes(stops(facts, planned, span, short)).within([span]))


PLAN = PartPlan("PH-12", 10)
PRICE = Price(PLAN.item_us)


def test_a_shift_is_split_into_what_it_went_to():
    facts = tiled([(50, "setup"), (200, "producing"), (20, "waiting"), (130, "producing"), (100, "fault")])
    made = [Count("N1", 60, TOTAL, 30, "PH-12"), Count("N1", 60, SCRAP, 2, "PH-12")]
    found = split(facts, [(0, 500)], (0, 500), made, {"PH-12": PLAN}, short=60)
    rows = {(r.name, r.length): (r.time_us, r.parts) for r in found.rows(PRICE) if r.time_us}
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


HOUR = 3_600_000_000


def test_money_is_time_by_the_hourly_rate():
    facts = tiled([(HOUR, "setup"), (2 * HOUR, "producing")])
    found = split(facts, [(0, 3 * HOUR)], (0, 3 * HOUR), [], short=60)
    rows = {r.name: r for r in found.rows(Price(None, Fraction("82.5"))) if r.time_us}
    assert rows["setup"].money == Fraction("82.5") and rows["slow_running"].money == 165
    assert rows["setup"].parts is None
    assert all(r.money is None for r in found.rows())


def test_rows_of_two_parts_add_in_parts_and_in_money():
    """20 of a part of 10 µs and 20 of a part of 5 µs: 2 + 4 parts; 2 and 3 per hour."""
    first = split(tiled([(20, "fault")]), [(0, 20)], (0, 20), [])
    both = added([*first.rows(Price(Fraction(10), Fraction(2))), *first.rows(Price(Fraction(5), Fraction(3)))])
    (row,) = [r for r in both if r.time_us]
    assert (row.name, row.time_us, row.parts, row.money) == ("fault", 40, 6, Fraction(100, HOUR))


def test_time_of_no_price_makes_a_sum_unknown_no_time_does_not():
    first = split(tiled([(20, "fault")]), [(0, 20)], (0, 20), [])
    nothing = split([], [], (0, 20), [])
    known = Price(Fraction(10), Fraction(2))

    def fault(*rows):
        return next(r for r in added([r for found in rows for r in found]) if r.time_us)

    assert fault(first.rows(known), first.rows()).parts is None
    assert fault(first.rows(known), first.rows()).money is None
    for order in ((first.rows(known), nothing.rows()), (nothing.rows(), first.rows(known))):
        assert (fault(*order).parts, fault(*order).money) == (2, Fraction(40, HOUR))


@given(timelines(), plans(), spans, counts, st.integers(0, END))
def test_rows_of_stretches_leave_no_remainder_whatever_is_known_of_their_parts(facts, planned, span, made, at):
    cut = min(max(at, span[0]), span[1])
    known = split(facts, planned, (span[0], cut), made)
    other = split(facts, planned, (cut, span[1]), made, {})
    busy = known.planned_busy_us + other.planned_busy_us
    for rows in ([*known.rows(), *other.rows()], [*known.rows_by_reason(), *other.rows_by_reason()]):
        found = added(rows)
        assert sum(row.time_us for row in found) == busy
        assert len({row.key for row in found}) == len(found)


def test_the_reasons_of_stops_are_priced_too():
    found = split([Condition("N1", 0, 30, "fault", "E41", "coolant low")], [(0, 30)], (0, 30), [])
    (row,) = [r for r in found.rows_by_reason(PRICE) if r.time_us]
    assert (row.name, row.reason, row.parts) == ("stop_loss", "coolant low", 3)


@given(timelines(), plans(), spans, st.integers(0, END))
def test_stopped_times_of_any_span_are_those_of_its_stops(facts, planned, span, at):
    """Found once for the whole, told for a part of it: all of it as of the true stop."""
    inner = (min(max(at, span[0]), span[1]), span[1])
    found = StoppedTimes(stops(facts, planned, span, 60)).within([inner])
    walked = {}
    for stop in stops(facts, planned, inner, 60):
        for condition, us in stop.by_condition.items():
            key = (condition, "long" if stop.long else "short", stop.reason)
            walked[key] = walked.get(key, 0) + us
    assert found == walked


@given(timelines(), plans(), spans, counts)
def test_a_week_later_the_losses_are_the_same(facts, planned, span, made):
    later = [replace(f, start_us=f.start_us + WEEK, end_us=f.end_us + WEEK) for f in facts]
    counted = [replace(c, time_us=c.time_us + WEEK) for c in made]
    moved = [(start + WEEK, end + WEEK) for start, end in [span, *planned]]
    assert split(later, moved[1:], moved[0], counted).rows() == split(facts, planned, span, made).rows()


@given(timelines(), plans(), spans, counts)
def test_losses_sum_to_the_planned_busy_time_exactly(facts, planned, span, made):
    found = split(facts, planned, span, made)
    assert sum(r.time_us for r in found.rows()) == found.planned_busy_us
    assert sum(found.by_reason().values()) == found.planned_busy_us - found.production_us
    parts = [r.parts for r in found.rows(Price(PLANS["PH-12"].item_us))]
    assert sum(parts) == Fraction(3, 7) * found.planned_busy_us


@given(timelines(), plans(), spans, counts, st.integers(0, END))
def test_splitting_a_span_and_adding_is_the_whole(facts, planned, span, made, at):
    cut = min(max(at, span[0]), span[1])
    first, second = (split(facts, planned, part, made) for part in ((span[0], cut), (cut, span[1])))
    assert (first + second).rows() == split(facts, planned, span, made).rows()
