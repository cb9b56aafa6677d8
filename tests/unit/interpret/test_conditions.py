"""The table of conditions, row by row, and the tiling of time by them."""

import pytest

from swarfline.facts import CONDITIONS, Condition
from swarfline.interpret.conditions import classify

from .told import Told

GOING = {"state": "executing"}
IDLE = {"state": "not_executing"}
ROWS = [
    ({}, "unobserved"),
    ({"state": None}, "unobserved"),
    ({"state": None, "executing": True}, "unobserved"),
    ({"executing": None}, "unobserved"),
    ({"state": "not_available"}, "off"),
    ({"state": "out_of_service"}, "out_of_service"),
    (GOING | {"mode": "setup"}, "setup"),
    (GOING | {"mode": "manual"}, "setup"),
    (IDLE | {"mode": "mdi"}, "setup"),
    (GOING | {"mode": "automatic"}, "producing"),
    (GOING | {"mode": None}, "producing"),
    (GOING | {"feed_hold": True}, "held"),
    (GOING | {"program_state": "interrupted"}, "held"),
    (IDLE | {"program_state": "interrupted"}, "held"),
    (GOING, "producing"),
    ({"executing": True}, "producing"),
    (IDLE | {"alarm": True}, "fault"),
    ({"executing": False}, "waiting"),
    (IDLE, "waiting"),
]


@pytest.mark.parametrize(("values", "condition"), ROWS)
def test_each_row(values, condition):
    assert classify(values, in_cycle=False, mode_offered="mode" in values) == condition


def test_every_condition_has_a_row():
    assert {condition for _, condition in ROWS} == set(CONDITIONS)


PRECEDENCE = [
    {"state": "not_available"},
    {"state": "out_of_service"},
    {"mode": "setup"},
    {"feed_hold": True},
    {"state": "executing"},
    {"alarm": True},
    {"state": "not_executing"},
]
NAMES = ["off", "out_of_service", "setup", "held", "producing", "fault", "waiting"]


@pytest.mark.parametrize("first", range(len(PRECEDENCE)))
def test_the_first_match_wins_over_all_that_follow(first):
    values = {}
    for row in reversed(PRECEDENCE[first:]):
        values |= row
    assert classify({"state": "not_executing"} | values, in_cycle=True, mode_offered=True) == NAMES[first]


OVERRIDES = [(True, 0, "held"), (False, 0, "producing"), (True, 1, "producing"), (True, None, "producing")]


@pytest.mark.parametrize(("in_cycle", "override", "condition"), OVERRIDES)
def test_feed_override_zero_holds_only_inside_a_cycle(in_cycle, override, condition):
    values = GOING | {"feed_override": override}
    assert classify(values, in_cycle, mode_offered=False) == condition


def test_a_mode_that_is_not_offered_is_no_setup():
    assert classify(GOING | {"mode": "setup"}, in_cycle=False, mode_offered=False) == "producing"


def test_time_is_tiled():
    told = Told("""
        0   state=not_available mode=automatic
        10  state=not_executing
        20  state=executing
        25  feed_hold=true
        30  feed_hold=false
        40  mode=setup
        50  mode=automatic state=out_of_service
        60  state=bad
        70  state=not_executing alarm=true
        80  alarm=false
        90  alive
    """)
    assert told.conditions == [
        (0, 10, "off"), (10, 20, "waiting"), (20, 25, "producing"), (25, 30, "held"), (30, 40, "producing"),
        (40, 50, "setup"), (50, 60, "out_of_service"), (60, 70, "unobserved"), (70, 80, "fault"),
        (80, 90, "waiting"),
    ]  # fmt: skip
    assert [f.open for f in told.of(Condition)] == [False] * 9 + [True]


def test_the_order_within_an_instant_does_not_matter_and_nothing_lasts_no_time():
    told = Told("""
        0   state=executing
        10  state=not_executing feed_hold=true state=executing
        10  feed_hold=false
        20  alive
    """)
    assert told.conditions == [(0, 20, "producing")]


def test_until_the_state_is_told_nothing_is_known():
    told = Told("0 power=500\n5 state=executing\n9 alive")
    assert told.conditions == [(0, 5, "unobserved"), (5, 9, "producing")]


def test_a_gap_is_unobserved_from_the_last_proof_of_life_to_the_return():
    told = Told("""
        0   back state=executing@-500
        10  lost
        30  back state=executing@-500
        40  alive
    """)
    assert told.conditions == [(0, 10, "producing"), (10, 30, "unobserved"), (30, 40, "producing")]
    assert told.gaps == [(10, 30)]


def test_a_return_without_a_loss_forgets_what_was_known():
    told = Told("0 back state=executing alarm=true\n20 back state=not_executing\n30 alive")
    assert told.conditions == [(0, 20, "producing"), (20, 30, "waiting")]
    assert told.gaps == []


def test_before_the_first_return_nothing_is_told():
    told = Told("0 lost\n50 back state=executing\n60 alive")
    assert told.conditions == [(50, 60, "producing")]
    assert told.gaps == []


def test_proofs_of_life_alone_tell_no_condition():
    assert Told("0 alive\n50 alive").facts == {}


def test_a_loss_while_the_state_is_bad_stays_one_piece():
    told = Told("0 state=executing\n10 state=bad\n20 lost\n30 back state=bad\n40 state=executing\n50 alive")
    assert told.conditions == [(0, 10, "producing"), (10, 40, "unobserved"), (40, 50, "producing")]


def test_an_open_gap_is_told():
    told = Told("0 state=executing\n10 lost\n60 alive")
    assert told.gaps == [(10, 60)]
    assert told.conditions[-1] == (10, 60, "unobserved")


@pytest.mark.parametrize("stop", ["state=not_executing", "feed_hold=true", "state=out_of_service"])
def test_what_an_alarm_stopped_carries_it_even_when_it_is_named_later(stop):
    told = Told(f"0 state=executing\n10 {stop} alarm=true\n10.02 alarm_code=417 alarm_text=Door\n30 alive")
    last = told.of(Condition)[-1]
    assert (last.start_us, last.alarm_code, last.alarm_text) == (told.of(Condition)[0].end_us, "417", "Door")


def test_a_machine_out_of_service_without_an_alarm_or_off_with_one_carries_none():
    told = Told(
        "0 state=executing\n10 state=out_of_service\n20 state=not_available alarm=true alarm_code=9\n30 alive"
    )
    assert [f.alarm_code for f in told.of(Condition)] == ["", "", ""]


def test_a_condition_without_an_alarm_carries_none():
    told = Told("0 state=executing alarm_code=9\n10 state=not_executing\n20 alive")
    assert [f.alarm_code for f in told.of(Condition)] == ["", ""]
