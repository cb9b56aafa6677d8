"""Order: the reorder window, late readings, clocks that are off, and values handed over at a return."""

import math

import pytest

from swarfline.interpret.fold import Fold
from swarfline.interpret.order import Order
from swarfline.interpret.settings import MachineSettings
from swarfline.signals import CLOCK_OFFSET, LINK, LINK_BACK, LINK_LOST, Quality, Reading

from .told import BEGIN_US, SECOND_US, Told, at_us, settings_of

S = SECOND_US


def reading(at, value, received=None, signal="state"):
    return Reading("N1", signal, at_us(at), at_us(at if received is None else received), value)


GO, STOP = "executing", "not_executing"


def test_inside_the_window_readings_are_sorted():
    told = Told([reading(0, GO), reading(10, GO), reading(9.5, STOP), reading(11, GO, signal="x")])
    assert told.late == []
    assert told.conditions == [(0, 9.5, "producing"), (9.5, 10, "waiting"), (10, 11, "producing")]


def test_what_comes_later_than_the_window_is_flagged_and_changes_nothing():
    told = Told(
        [
            reading(0, GO),
            reading(10, GO, signal="x"),
            reading(8.9, STOP),
            reading(9, STOP),
            reading(12, 1, signal="x"),
        ]
    )
    assert told.late == [2]
    assert told.conditions == [(0, 9, "producing"), (9, 12, "waiting")]


def test_a_clock_that_is_off_is_corrected():
    offset = Reading("N1", CLOCK_OFFSET, at_us(0), at_us(0), 60 * S)
    told = Told([offset, reading(65, GO, 5), reading(80, STOP, 20), reading(90, 0, 30, "x")])
    assert told.conditions == [(5, 20, "producing"), (20, 30, "waiting")]


@pytest.mark.parametrize("offset", [0.4 * S, -0.4 * S, math.nan, math.inf, None, "soon"])
def test_a_small_or_senseless_offset_corrects_nothing(offset):
    told = Told([Reading("N1", CLOCK_OFFSET, at_us(0), at_us(0), offset), reading(5, GO), reading(9, STOP)])
    assert told.conditions == [(5, 9, "producing")]


def test_an_offset_counts_for_what_follows():
    told = Told(
        [
            reading(5, GO),
            Reading("N1", CLOCK_OFFSET, at_us(9), at_us(9), -100 * S),
            reading(-80, STOP, 20),
            reading(-70, 0, 30, "x"),
        ]
    )
    assert told.conditions == [(5, 20, "producing"), (20, 30, "waiting")]


def test_a_server_that_rules_its_own_time_is_not_corrected():
    readings = [
        Reading("N1", CLOCK_OFFSET, at_us(0), at_us(0), 60 * S),
        reading(9065, GO, 5),
        reading(9080, STOP, 20),
    ]
    assert Told(readings, max_skew_us=None).conditions == [(9065, 9080, "producing")]


@pytest.mark.parametrize("wrong", [30, 3600, 10**9])
def test_a_source_time_far_ahead_of_its_receipt_is_not_believed(wrong):
    told = Told([reading(5, GO), reading(wrong, STOP, 9), reading(12, GO), reading(14, 0, signal="x")])
    assert told.late == []
    assert told.conditions == [(5, 9, "producing"), (9, 12, "waiting"), (12, 14, "producing")]


def test_values_at_a_return_are_clamped_to_it():
    told = Told("0 lost\n60 back state=executing@-1000 active_tool=3@60.5\n70 alive")
    assert told.late == []
    assert told.conditions == [(60, 70, "producing")]


def test_a_value_found_long_after_the_return_counts_from_its_receipt():
    """Its node was refused at first: it may not have changed for days, and is no late news."""
    told = Told("0 lost\n60 back state=executing@-1000\n80 alive\n90 feed_hold=true@-500\n100 alive")
    assert told.late == []
    assert told.conditions == [(60, 90, "producing"), (90, 100, "held")]


def test_the_link_is_never_late():
    lost = Reading("N1", LINK, at_us(2), at_us(10), LINK_LOST)
    back = Reading("N1", LINK, at_us(3), at_us(20), LINK_BACK)
    told = Told(
        [
            reading(0, GO),
            reading(10, 1, signal="x"),
            lost,
            reading(10.5, 2, signal="x"),
            back,
            reading(3, STOP),
            reading(30, 3, signal="x"),
        ]
    )
    assert told.late == []
    assert told.conditions == [(0, 9, "producing"), (9, 9.5, "unobserved"), (9.5, 30, "waiting")]


def test_a_return_never_comes_before_its_loss():
    lost = Reading("N1", LINK, at_us(10), at_us(10), LINK_LOST)
    back = Reading("N1", LINK, at_us(9.9), at_us(9.9), LINK_BACK)
    told = Told([reading(0, GO), lost, back, reading(5, GO), reading(20, 1, signal="x")])
    assert told.conditions == [(0, 10, "producing"), (10, 20, "producing")]


def test_an_end_and_a_loss_at_one_moment_are_both_told():
    told = Told(
        "0 state=executing program_state=ready\n10 program_state=running\n30 program_state=ended lost\n40 alive"
    )
    assert told.cycles == [(10, 30, "complete")]
    assert told.conditions == [(0, 30, "producing"), (30, 40, "unobserved")]


def test_only_what_is_before_the_watermark_is_final():
    told = Told("0 state=executing\n10 state=not_executing\n10.5 alive", end=False)
    assert told.stream == []
    assert told.conditions == [(0, 9.5, "producing")]
    assert told.fold.newest_us("N1") == at_us(10.5)


def test_senseless_numbers_are_unknown():
    told = Told(
        [
            reading(0, GO),
            reading(0, 100.0, signal="power"),
            reading(5, math.nan, signal="power"),
            reading(9, math.inf, signal="power"),
            reading(12, 0, signal="x"),
        ]
    )
    assert told.energies == [(0, 5, "producing", 500)]


def test_a_bad_reading_is_worth_nothing_even_when_it_carries_a_value():
    bad = Reading("N1", "state", at_us(5), at_us(5), GO, Quality.BAD)
    assert Told([reading(0, GO), bad, reading(9, 0, signal="x")]).conditions[-1] == (5, 9, "unobserved")


def test_an_uncertain_reading_counts():
    unsure = Reading("N1", "state", at_us(5), at_us(5), STOP, Quality.UNCERTAIN)
    assert Told([reading(0, GO), unsure, reading(9, 0, signal="x")]).conditions[-1] == (5, 9, "waiting")


def test_machines_are_apart_and_strangers_ignored():
    readings = [
        reading(0, GO),
        reading(0, STOP)._replace(machine="N2"),
        reading(0, STOP)._replace(machine="Z9"),
        reading(5, 0, signal="x"),
    ]
    fold = Fold([settings_of(readings), settings_of(readings, machine="N2")])
    fed = fold.feed(readings)
    assert fed.touched == {"N1", "N2"}
    fold.flush()
    assert {f.machine for f in fold.open_facts(["N1"])} == {"N1"}
    assert fold.newest_us("N2") == BEGIN_US


def test_a_machine_that_never_spoke_has_told_nothing():
    fold = Fold([MachineSettings("N1", frozenset({"state"}))])
    assert fold.newest_us("N1") is None
    assert fold.feed([]).facts == fold.flush() == fold.open_facts() == []


def test_the_buffer_holds_no_more_than_the_window():
    order = Order(MachineSettings("N1", frozenset({"state"})))
    for n in range(50):
        order.put(reading(n * 0.25, GO))
        order.release()
    assert len(order.pending) == 5


def test_the_time_of_a_value_is_when_it_was_so_and_not_when_it_arrived():
    told = Told([reading(5, GO), reading(9, STOP, 40), reading(41, GO)])
    assert told.conditions == [(5, 9, "producing"), (9, 41, "waiting")]
