"""The axis of a timeline and its stretches, reckoned by hand; changes of clocks by the IANA rules of Madrid."""

from __future__ import annotations

from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from swarfline.calendar import Calendar, from_us
from swarfline.facts import COMPLETE, FAULT, PRODUCING, UNOBSERVED, WAITING, Condition, Cycle
from swarfline.serve.page.lanes import (
    MOST_TICKS,
    Stretch,
    merged,
    part_stretches,
    stretches,
    tick_step_us,
    ticks,
    tiles,
)

from .works import HOUR, MIDNIGHT, MINUTE, SECOND

MADRID = ZoneInfo("Europe/Madrid")
CALENDAR = Calendar(MADRID)
DAY = 24 * HOUR


def labels(span):
    return [f"{from_us(at, MADRID):%d %H:%M}" for at, _ in ticks(CALENDAR, span)]


def test_ticks_are_counted_from_midnight():
    assert (
        labels((MIDNIGHT + 90 * MINUTE, MIDNIGHT + 5 * HOUR))
        == [*(f"10 0{h}:{m}" for h in (1, 2, 3, 4) for m in ("00", "10", "20", "30", "40", "50"))][3:]
    )
    odd = MIDNIGHT + 7 * HOUR + 3 * MINUTE
    assert labels((odd, odd + 2 * HOUR))[:2] == ["10 07:05", "10 07:10"]
    assert labels((MIDNIGHT, MIDNIGHT + DAY))[::6] == ["10 00:00", "10 06:00", "10 12:00", "10 18:00"]
    assert labels((MIDNIGHT, MIDNIGHT + 30 * DAY))[:3] == ["10 00:00", "11 00:00", "12 00:00"]


def test_the_day_that_is_an_hour_short_has_23_hours():
    """29 March 2026: 02:00 becomes 03:00."""
    start, end = CALENDAR.day_span(from_us(MIDNIGHT + 19 * DAY, MADRID).date())
    told = labels((start, end))
    assert len(told) == 23 and told[1:3] == ["29 01:00", "29 03:00"]


@given(st.integers(10 * SECOND, 32 * DAY), st.integers(0, 400 * DAY))
def test_never_more_ticks_than_there_is_room_for(length, later):
    span = (MIDNIGHT + later, MIDNIGHT + later + length)
    found = [at for at, _ in ticks(CALENDAR, span)]
    assert len(found) <= MOST_TICKS + 1
    assert found == sorted(set(found)) and all(span[0] <= at < span[1] for at in found)
    assert tick_step_us(span) * (MOST_TICKS - 1) >= length or tick_step_us(span) == DAY


def test_what_nothing_tells_of_is_unobserved():
    known = [Condition("N1", 10, 20, PRODUCING), Condition("N1", 30, 90, FAULT, "A1", "Door")]
    assert tiles(known, (0, 50)) == [
        Stretch(0, 10, UNOBSERVED),
        Stretch(10, 20, PRODUCING),
        Stretch(20, 30, UNOBSERVED),
        Stretch(30, 50, FAULT, "Door"),
    ]


def test_short_pieces_stand_together_as_what_filled_most():
    pieces = [
        Stretch(0, 7, PRODUCING), Stretch(7, 10, WAITING), Stretch(10, 17, PRODUCING),
        Stretch(17, 47, FAULT, "Door"), Stretch(47, 50, WAITING),
    ]  # fmt: skip
    assert stretches(pieces, 20) == [
        Stretch(0, 17, PRODUCING, mostly=True),
        Stretch(17, 47, FAULT, "Door"),
        Stretch(47, 50, WAITING),
    ]
    assert stretches(pieces, 1) == pieces


@given(st.lists(st.tuples(st.integers(1, 50), st.sampled_from([PRODUCING, WAITING, FAULT])), max_size=40))
def test_stretches_leave_no_hole(lengths):
    pieces, at = [], 0
    for length, condition in lengths:
        pieces.append(Stretch(at, at + length, condition))
        at += length
    for least in (1, 10, 100):
        found = stretches(pieces, least)
        assert sum(s.length_us for s in found) == at
        assert all(a.end_us == b.start_us for a, b in pairwise(found))


def test_facts_close_together_run_into_one():
    cycles = [Cycle("N1", s, s + 8, COMPLETE) for s in (0, 10, 20, 60)]
    assert merged(cycles, (5, 65), 3) == [(5, 28), (60, 65)]
    assert merged(cycles, (0, 100), 1) == [(0, 8), (10, 18), (20, 28), (60, 68)]


@pytest.mark.parametrize(("second", "found"), [("PH-12", 1), ("VC-30", 2)])
def test_a_part_is_one_stretch_while_it_is_made(second, found):
    cycles = [Cycle("N1", 0, 8, COMPLETE, "O1", "PH-12"), Cycle("N1", 10, 18, COMPLETE, "O1", second)]
    told = part_stretches(cycles, (0, 100))
    assert len(told) == found and told[0].what == "PH-12 · O1"
