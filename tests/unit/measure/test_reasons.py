"""Reasons of stops: rules in their order and what each of them asks for, and what people entered."""

import dataclasses

import pytest

from swarfline.entries import Entry, StopReason, Undone
from swarfline.measure.reasons import ReasonRule, by_person, by_rule, given
from swarfline.measure.stops import stops

from .timelines import tiled


def one(condition="fault", length=60, **alarm):
    """The stop of a machine that produces before and after."""
    facts = tiled([(10, "producing"), (length, condition), (10, "producing")])
    facts = [dataclasses.replace(f, **alarm) if f.condition == condition else f for f in facts]
    (found,) = stops(facts, [(0, 1000)], (0, 1000), 300)
    return found


DOOR = {"alarm_code": "A17", "alarm_text": "Door switch open"}


def reason(stop, *rules):
    (found,) = by_rule([stop], rules)
    return found.reason, found.reason_by


def test_without_a_rule_the_alarm_stays_the_reason():
    assert reason(one(**DOOR)) == ("Door switch open", "alarm")
    assert reason(one(alarm_code="A17")) == ("A17", "alarm")
    assert reason(one()) == ("", "none")


def test_the_first_rule_that_fits_counts():
    rules = [ReasonRule("Setting", frozenset({"setup"})), ReasonRule("Trouble"), ReasonRule("Anything")]
    assert reason(one(**DOOR), *rules) == ("Trouble", "rule")


def test_a_rule_changes_nothing_else():
    stop = one(**DOOR)
    (found,) = by_rule([stop], [ReasonRule("Trouble")])
    assert dataclasses.replace(found, reason=stop.reason, reason_by=stop.reason_by) == stop


@pytest.mark.parametrize(
    ("rule", "fits"),
    [
        (ReasonRule("R", frozenset({"fault", "held"})), True),
        (ReasonRule("R", frozenset({"waiting"})), False),
        (ReasonRule("R", machines=frozenset({"N1", "N2"})), True),
        (ReasonRule("R", machines=frozenset({"N2"})), False),
        (ReasonRule("R", alarm_code="A17"), True),
        (ReasonRule("R", alarm_code="A1"), False),
        (ReasonRule("R", alarm_code="A[0-9]?"), True),
        (ReasonRule("R", alarm_text="door switch open"), True),
        (ReasonRule("R", alarm_text="door"), False),
        (ReasonRule("R", alarm_text="*SWITCH*"), True),
        (ReasonRule("R", alarm_text="*coolant*"), False),
        (ReasonRule("R", alarm_code="A17", alarm_text="*coolant*"), False),
        (ReasonRule("R", least_us=60), True),
        (ReasonRule("R", least_us=61), False),
        (ReasonRule("R", most_us=60), True),
        (ReasonRule("R", most_us=59), False),
    ],
)
def test_a_rule_fits_when_all_of_it_is_met(rule, fits):
    assert (reason(one(**DOOR), rule) == ("R", "rule")) is fits


def test_a_pattern_is_never_met_by_an_alarm_that_says_nothing():
    assert reason(one(), ReasonRule("R", alarm_text="*")) == ("", "none")


def test_what_means_something_elsewhere_means_itself():
    dotted = one(alarm_text="Axis (X) 3.5|7")
    assert reason(dotted, ReasonRule("R", alarm_text="axis (x) 3.5|7")) == ("R", "rule")
    assert reason(dotted, ReasonRule("R", alarm_text="axis .x. 3.5.7"))[1] == "alarm"


def test_the_length_is_that_of_the_true_stop():
    facts = tiled([(10, "producing"), (60, "fault"), (10, "producing")])
    (part,) = stops(facts, [(0, 1000)], (60, 1000), 300)
    assert (part.planned_us, reason(part, ReasonRule("R", least_us=60))) == (10, ("R", "rule"))


TWO = stops(
    tiled([(10, "producing"), (30, "waiting"), (10, "producing"), (50, "fault"), (10, "producing")]),
    [(0, 1000)], (0, 1000), 300,
)  # fmt: skip
"""Stops of [10, 40) and [50, 100)."""


def entry(start, end, number, reason="Ladder", **more):
    return Entry("N1", start, end, StopReason(reason), "Ana", 500, "", number, **more)


def told(*entries, of=TWO):
    return [(s.reason, s.reason_by) for s in by_person(of, of, given(of, entries))]


NOT_TOLD = ("", "none")


@pytest.mark.parametrize(
    ("start", "end", "place"),
    [
        (10, 40, 0),
        (0, 11, 0),
        (39, 51, 0),  # equally much of both: the earlier
        (39, 52, 1),
        (0, 1000, 1),
        (99, 100, 1),
        (40, 50, None),
        (100, 200, None),
        (0, 10, None),
    ],
)
def test_a_persons_reason_sticks_to_the_stop_that_it_overlaps_most(start, end, place):
    wanted = [("Ladder", "person") if n == place else NOT_TOLD for n in range(2)]
    assert told(entry(start, end, 1)) == wanted


def test_the_last_one_entered_counts_whatever_its_span():
    later, sooner = entry(12, 14, 9, "Crane"), entry(10, 40, 3)
    assert told(later, sooner)[0] == told(sooner, later)[0] == ("Crane", "person")


def test_an_undone_one_does_not_count_and_the_one_before_does_again():
    undone = entry(10, 40, 9, "Crane", undone=Undone("Luis", 600))
    assert told(undone)[0] == NOT_TOLD
    assert told(undone, entry(10, 40, 3))[0] == ("Ladder", "person")


def test_a_person_goes_before_a_rule():
    ruled = by_rule(TWO, [ReasonRule("Trouble")])
    assert told(entry(10, 40, 1), of=ruled) == [("Ladder", "person"), ("Trouble", "rule")]


def test_part_of_a_stop_has_the_reason_of_the_whole():
    facts = tiled([(10, "producing"), (80, "waiting"), (10, "producing")])
    planned = [(0, 30), (60, 100)]
    whole = stops(facts, planned, (0, 100), 300)
    part = stops(facts, planned, (60, 100), 300)
    assert by_person(part, whole, given(whole, [entry(10, 30, 1)]))[0].reason == "Ladder"


def test_a_stop_worked_out_anew_keeps_what_was_said_of_it():
    # a late reading showed that the machine ran a while in it: the longer rest keeps the reason
    again = stops(
        tiled([(10, "producing"), (8, "waiting"), (4, "producing"), (18, "waiting"), (10, "producing")]),
        [(0, 1000)], (0, 1000), 300,
    )  # fmt: skip
    assert told(entry(10, 40, 1), of=again) == [NOT_TOLD, ("Ladder", "person")]
