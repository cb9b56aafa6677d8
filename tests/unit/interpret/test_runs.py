"""Runs of odd kinds: programs that loop for ever, restarts, very short cycles, ends of days, shifts and hours."""

from datetime import UTC, datetime, timedelta

import pytest

from swarfline.facts import Cycle

from .told import BEGIN_US, Told, readings_of

ON = "state=executing"
LOOP = f"""
    0    {ON} program_state=ready cycle_count=7
    10   program_state=running
    60   cycle_count=8
    110  cycle_count=9
    160  cycle_count=10
    210  cycle_count=11
"""


def test_a_program_that_loops_for_ever_is_cut_by_the_cycle_counter_from_its_second_step_on():
    told = Told(LOOP + "230 alive")
    assert told.cycles == [
        (10, 110, "partial"), (110, 160, "complete"), (160, 210, "complete"), (210, 230, "running"),
    ]  # fmt: skip
    assert [count[2] for count in told.counts] == [1, 1, 1, 1]
    assert told.parts == [2, 1, 1, 0]


@pytest.mark.parametrize(
    ("end", "outcome"), [("ended", "complete"), ("aborted", "aborted"), ("ready", "complete")]
)
def test_a_loop_that_is_ended_has_the_rest_as_a_cycle(end, outcome):
    told = Told(LOOP + f"250 program_state={end}\n260 alive")
    assert told.cycles[-1] == (210, 250, outcome)


def test_a_rest_that_is_only_the_counter_being_a_little_early_is_no_cycle():
    told = Told(LOOP + "211.5 program_state=ended\n260 alive")
    assert told.cycles[-1] == (160, 210, "complete")
    early = Told(LOOP + "211.5 alive")
    assert early.cycles[-1] == (160, 210, "complete")


def test_a_new_run_of_a_loop_begins_anew():
    told = Told(
        LOOP + "250 program_state=ended\n300 program_state=running\n350 cycle_count=12\n360 program_state=ended"
    )
    assert told.cycles[-1] == (300, 360, "complete")


@pytest.mark.parametrize("counted", ["59", "60", "60.5", "75"])
def test_a_program_that_ends_is_not_cut_by_a_counter_early_or_late(counted):
    told = Told(
        sorted(
            readings_of(f"""
                0    {ON} program_state=ready cycle_count=7
                10   program_state=running
                60   program_state=ended program_state=running
                110  program_state=ended program_state=running
            """)
            + readings_of(f"{counted} cycle_count=8\n{float(counted) + 50} cycle_count=9\n180 alive"),
            key=lambda r: r.source_us,
        )
    )
    assert told.cycles[:2] == [(10, 60, "complete"), (60, 110, "complete")]


def test_a_loop_whose_counter_leaps_gives_no_cycle_time():
    told = Told(LOOP + "310 cycle_count=13\n360 cycle_count=14\n380 alive")
    assert told.cycles[3:] == [(210, 310, "partial"), (310, 360, "complete"), (360, 380, "running")]


def test_a_loop_that_was_aborted_by_hand_does_not_make_the_next_one_exact():
    told = Told(
        LOOP.replace("cycle_count=7", "cycle_count=7 mode=automatic")
        + "250 mode=manual\n260 program_state=ready mode=automatic\n300 program_state=running\n"
        "350 cycle_count=12\n400 cycle_count=13\n450 cycle_count=14\n460 alive"
    )
    assert told.cycles[-4:] == [
        (210, 250, "aborted"), (300, 400, "partial"), (400, 450, "complete"), (450, 460, "running"),
    ]  # fmt: skip


@pytest.mark.parametrize("place", range(1, 9))
def test_a_loop_survives_a_restart(place):
    assert Told(LOOP + "230 alive", restart_after=place).facts == Told(LOOP + "230 alive").facts


def test_parts_counted_one_by_one_do_not_cut_a_program():
    told = Told(f"""
        0    {ON} program_state=ready part_count=0
        10   program_state=running
        30   part_count=1
        50   part_count=2
        70   part_count=3
        80   program_state=ended part_count=4
    """)
    assert told.cycles == [(10, 80, "complete")]
    assert told.parts == [4]


def test_after_a_hold_another_program_is_another_run():
    told = Told(f"""
        0    {ON} program_state=ready program=O1
        10   program_state=running
        30   program_state=interrupted
        50   program=O2
        60   program_state=running
        90   program_state=ended
    """)
    assert told.cycles == [(10, 60, "aborted"), (60, 90, "complete")]
    assert [f.program for f in told.of(Cycle)] == ["O1", "O2"]


def test_after_a_hold_the_same_program_goes_on():
    told = Told(f"""
        0    {ON} program_state=ready program=O1
        10   program_state=running
        30   program_state=interrupted
        50   program=O2
        55   program=O1
        60   program_state=running
        90   program_state=ended
    """)
    assert told.cycles == [(10, 90, "complete")]


def test_a_restart_that_shows_no_end_is_the_same_cycle():
    told = Told(
        f"0 {ON} program_state=ready\n10 program_state=running\n50 program_state=running\n90 program_state=ended"
    )
    assert told.cycles == [(10, 90, "complete")]


def test_cycles_far_below_a_second():
    lines = [f"0 {ON} program_state=ready part_count=0"]
    for n in range(40):
        lines += [
            f"{1 + 0.25 * n} program_state=running",
            f"{1.2 + 0.25 * n} program_state=ended part_count={n + 1}",
        ]
    told = Told("\n".join(lines))
    assert told.cycles == [(1 + 0.25 * n, pytest.approx(1.2 + 0.25 * n), "complete") for n in range(40)]
    assert told.parts == [1] * 40


@pytest.mark.parametrize(("bounds", "story"), [
    ("program_state", "{on} program_state=running\n{off} program_state=ended"),
    ("cycle_count", "{on} cycle_count=2\n{off} cycle_count=3"),
    ("part_count", "{on} part_count=2\n{off} part_count=3"),
    ("executing", "{on} state=executing\n{off} state=not_executing"),
])  # fmt: skip
@pytest.mark.parametrize(
    ("begin", "wall"),
    [
        ("2026-03-29T00:30:00Z", "the hour that is left out in Central Europe"),
        ("2026-10-25T00:30:00Z", "the hour that comes twice in Central Europe"),
        ("2026-12-31T22:30:00Z", "midnight, and the year"),
        ("2026-06-15T12:00:00Z", "the end of a shift"),
    ],
)
def test_a_cycle_is_one_and_lasts_what_it_lasts_whatever_the_wall_clock_does(bounds, story, begin, wall):
    start = datetime.fromisoformat(begin)
    begin_us = (start - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(microseconds=1)
    lead = "0 state={} program_state=ready cycle_count=1 part_count=1\n".format(
        "not_executing" if bounds == "executing" else "executing"
    )
    readings = [
        r._replace(source_us=r.source_us - BEGIN_US + begin_us, received_us=r.received_us - BEGIN_US + begin_us)
        for r in readings_of(lead + story.format(on=600, off=6000) + "\n6001 alive")
    ]
    whole = [c for c in Told(readings, bounds=bounds).of(Cycle) if c.outcome == "complete"]
    assert [(c.start_us, c.duration_us) for c in whole] == [(begin_us + 600_000_000, 5400_000_000)], wall
