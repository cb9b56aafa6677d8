"""Stops: what begins, joins, splits and names them."""

import dataclasses

from hypothesis import given
from hypothesis import strategies as st

from swarfline.facts import Condition
from swarfline.measure.elements import NOT_PRODUCING, time_elements
from swarfline.measure.stops import stops

from .timelines import END, plans, spans, tiled, timelines

ALL_DAY = [(0, 1000)]


def test_neighbouring_conditions_are_one_stop_named_after_the_longest():
    facts = tiled([(100, "producing"), (5, "waiting"), (30, "fault"), (5, "waiting"), (50, "producing")])
    (stop,) = stops(facts, ALL_DAY, (0, 1000), 20)
    assert (stop.start_us, stop.end_us, stop.length_us, stop.planned_us) == (100, 140, 40, 40)
    assert stop.condition == "fault"
    assert stop.by_condition == {"waiting": 10, "fault": 30}
    assert stop.long


def test_the_first_of_equally_long_conditions_names_it():
    (stop,) = stops(tiled([(10, "fault"), (10, "setup")]), ALL_DAY, (0, 1000), 20)
    assert stop.condition == "setup", "in the order in which the conditions are shown"


def test_the_time_to_restore_is_what_follows_the_first_fault_and_none_without_one():
    (stop,) = stops(tiled([(5, "waiting"), (30, "fault"), (7, "waiting")]), ALL_DAY, (0, 1000), 20)
    assert stop.restore_us == 37
    (stop,) = stops(tiled([(5, "waiting"), (7, "held")]), ALL_DAY, (0, 1000), 20)
    assert stop.restore_us is None


def test_a_break_in_it_neither_counts_nor_ends_it():
    facts = tiled([(10, "producing"), (80, "waiting"), (10, "producing")])
    (stop,) = stops(facts, [(0, 30), (60, 100)], (0, 100), 300)
    assert (stop.start_us, stop.end_us, stop.planned_us) == (10, 90, 20 + 30)


def test_bounds_are_those_of_its_planned_parts():
    facts = tiled([(10, "producing"), (80, "waiting"), (10, "producing")])
    (stop,) = stops(facts, [(20, 50)], (0, 100), 300)
    assert (stop.start_us, stop.end_us) == (20, 50)


def test_production_in_an_unplanned_time_ends_it():
    facts = tiled([(40, "waiting"), (10, "producing"), (50, "waiting")])
    assert len(stops(facts, [(0, 35), (55, 100)], (0, 100), 300)) == 2


def test_what_is_not_known_ends_it():
    gap = tiled([(20, "waiting"), (20, "unobserved"), (20, "waiting")])
    hole = tiled([(20, "waiting"), (20, ""), (20, "waiting")])
    for facts in (gap, hole):
        assert [s.start_us for s in stops(facts, ALL_DAY, (0, 1000), 300)] == [0, 40]


def test_unplanned_idleness_is_no_stop():
    assert stops(tiled([(50, "waiting")]), [(60, 100)], (0, 100), 300) == []


def test_the_length_is_that_of_the_true_stop_not_of_the_clipped_one():
    facts = tiled([(10, "producing"), (400, "fault"), (10, "producing")])
    (stop,) = stops(facts, ALL_DAY, (400, 1000), 300)
    assert (stop.planned_us, stop.length_us, stop.long) == (10, 400, True)
    assert stop.by_condition == {"fault": 10}


def test_a_stop_of_just_the_limit_is_short():
    facts = tiled([(300, "fault")])
    assert not stops(facts, ALL_DAY, (0, 1000), 300)[0].long
    assert stops(facts, ALL_DAY, (0, 1000), 299)[0].long


def test_the_first_alarm_is_the_reason():
    facts = [
        Condition("N1", 0, 5, "waiting"),
        Condition("N1", 5, 20, "fault", "E41", "coolant low"),
        Condition("N1", 20, 90, "fault", "E7", "", open=True),
    ]
    (stop,) = stops(facts, ALL_DAY, (0, 1000), 300)
    assert (stop.alarm_code, stop.alarm_text, stop.reason) == ("E41", "coolant low", "coolant low")
    assert stop.open
    (late,) = stops(facts[2:], ALL_DAY, (0, 1000), 300)
    assert late.reason == "E7"
    (bare,) = stops(facts[:1], ALL_DAY, (0, 1000), 300)
    assert bare.reason == ""
    assert not bare.open


@given(timelines(), plans(), spans)
def test_stops_hold_all_planned_time_without_production(facts, planned, span):
    found = stops(facts, planned, span, 60)
    elements = time_elements(facts, planned, span)
    for condition in NOT_PRODUCING:
        assert sum(s.by_condition.get(condition, 0) for s in found) == elements.inside(condition)
    for stop in found:
        assert stop.planned_us == sum(stop.by_condition.values()) <= stop.length_us <= stop.end_us - stop.start_us
        assert stop.planned_us > 0
        assert stop.long == (stop.length_us > 60)


@given(timelines(), plans(), spans, st.integers(0, END))
def test_both_sides_of_a_cut_judge_a_stop_alike(facts, planned, span, at):
    cut = min(max(at, span[0]), span[1])
    halves = stops(facts, planned, (span[0], cut), 60) + stops(facts, planned, (cut, span[1]), 60)
    seen = {s.start_us: s for s in stops(facts, planned, span, 60)}
    for half in halves:
        same = dataclasses.replace(half, planned_us=0, by_condition={})
        assert same == dataclasses.replace(seen[half.start_us], planned_us=0, by_condition={})
    assert sum(h.planned_us for h in halves) == sum(s.planned_us for s in seen.values())
