"""Where cycles begin and end, for each kind of bound."""

import pytest

from swarfline.facts import Cycle

from .told import Told

ON = "state=executing mode=automatic"


def test_by_program_state():
    told = Told(f"""
        0   {ON} program_state=ready
        10  program_state=running program=O1201 part=PH-12 lot=L-7
        70  program_state=ended
        80  program_state=running
        130 program_state=ready
        140 program_state=running
        150 program_state=aborted
        160 program_state=running
        170 alive
    """)
    assert told.cycles == [
        (10, 70, "complete"),
        (80, 130, "complete"),
        (140, 150, "aborted"),
        (160, 170, "running"),
    ]
    assert [(c.program, c.part, c.lot) for c in told.of(Cycle)] == [("O1201", "PH-12", "L-7")] * 4


def test_a_hold_does_not_end_a_cycle():
    told = Told(f"""
        0   {ON} program_state=ready
        10  program_state=running
        20  program_state=interrupted state=not_executing
        50  program_state=running state=executing
        70  program_state=ended
    """)
    assert told.cycles == [(10, 70, "complete")]
    assert told.cycle.held_us == 30_000_000


def test_a_held_program_that_is_reset_was_given_up():
    told = Told(
        f"0 {ON} program_state=ready\n10 program_state=running\n"
        "20 program_state=interrupted\n30 program_state=ready"
    )
    assert told.cycles == [(10, 30, "aborted")]


ENDS = [
    ("mode=manual", "aborted"),
    ("state=not_available", "aborted"),
    ("state=out_of_service", "running"),
    ("mode=bad", "running"),
]


@pytest.mark.parametrize(("end", "outcome"), ENDS)
def test_what_ends_a_running_program(end, outcome):
    told = Told(f"0 {ON} program_state=ready\n10 program_state=running\n30 {end}\n40 alive")
    assert told.cycles == [(10, 30 if outcome == "aborted" else 40, outcome)]


def test_an_end_that_was_told_comes_before_an_abort_of_the_same_instant():
    told = Told(f"0 {ON} program_state=ready\n10 program_state=running\n30 mode=manual program_state=ended")
    assert told.cycles == [(10, 30, "complete")]


def test_a_program_that_runs_outside_automatic_is_no_cycle():
    told = Told(f"0 {ON} program_state=ready\n10 mode=mdi program_state=running\n30 program_state=ended\n40 alive")
    assert told.cycles == []


def test_a_program_found_running_when_automatic_returns_is_a_partial_cycle():
    told = Told(f"""
        0   {ON} program_state=ready
        10  program_state=running
        20  mode=manual
        25  mode=automatic
        40  program_state=ended
    """)
    assert told.cycles == [(10, 20, "aborted"), (25, 40, "partial")]


def test_a_program_found_running_or_held_at_first_sight_is_partial():
    assert Told(f"0 {ON} program_state=running\n9 program_state=ended").cycles == [(0, 9, "partial")]
    assert Told(f"0 {ON} program_state=interrupted\n9 program_state=ended").cycles == [(0, 9, "partial")]


def test_a_program_that_loops_ends_and_runs_in_one_instant():
    told = Told(f"""
        0   {ON} program_state=ready
        10  program_state=running
        60  program_state=ended program_state=running
        110 program_state=ended program_state=running
        120 alive
    """)
    assert told.cycles == [(10, 60, "complete"), (60, 110, "complete"), (110, 120, "running")]


def test_a_run_of_no_length_is_never_told():
    told = Told(f"""
        0   {ON} program_state=ready
        10  program_state=running program_state=ended
        20  program_state=running
        30  program_state=ended program_state=running program_state=ended
        40  alive
    """)
    assert told.cycles == [(20, 30, "complete")]


def test_a_gap_cuts_a_cycle_in_two_partial_ones():
    told = Told(f"""
        0   back {ON} program_state=ready
        10  program_state=running
        30  lost
        50  back {ON} program_state=running@45
        80  program_state=ended
    """)
    assert told.cycles == [(10, 30, "partial"), (50, 80, "partial")]


def test_the_same_run_goes_on_through_a_gap():
    told = Told(f"""
        0   back {ON} program_state=ready
        10  program_state=running
        30  lost
        50  back {ON} program_state=running@10
        80  program_state=ended
    """)
    assert told.cycles == [(10, 80, "complete")]
    assert told.cycle.step_us == (0, 0, 0, 70_000_000, 0)
    assert told.cycle.unobserved_us == 20_000_000
    assert [c.outcome for c in told.stream if c.kind == "cycle"] == ["partial", "complete"]


def test_the_same_run_through_two_gaps():
    told = Told(f"""
        0   back {ON} program_state=ready
        10  program_state=running
        30  lost
        50  back {ON} program_state=running@10
        60  lost
        70  back {ON} program_state=running@10
        80  program_state=ended
    """)
    assert told.cycles == [(10, 80, "complete")]
    assert told.cycle.unobserved_us == 30_000_000


def test_a_state_that_is_not_known_for_a_while_is_told_of_its_cycle():
    told = Told(f"""
        0   {ON} program_state=ready
        10  program_state=running
        30  state=bad
        34  {ON}
        80  program_state=ended
        81  program_state=running
        91  program_state=ended
    """)
    assert [(*c[:2], fact.unobserved_us) for c, fact in zip(told.cycles, told.of(Cycle), strict=True)] == [
        (10, 80, 4_000_000),
        (81, 91, 0),
    ]


def test_a_run_that_ended_in_a_gap_is_not_taken_up_by_the_next():
    told = Told(f"""
        0   back {ON} program_state=ready
        10  program_state=running
        30  lost
        50  back {ON} program_state=ended@40
        60  program_state=running
        80  program_state=ended
    """)
    assert told.cycles == [(10, 30, "partial"), (60, 80, "complete")]


def test_a_run_begun_while_the_full_set_was_awaited_is_partial():
    told = Told(f"""
        0   back {ON} program_state=ready
        10  program_state=running
        30  lost
        50  back {ON} program_state=running@10 program_state=ended@44 program_state=running@46
        80  program_state=ended
    """)
    assert told.cycles == [(10, 30, "partial"), (50, 80, "partial")]


def test_a_run_that_ended_while_the_full_set_was_awaited_has_no_end_of_its_own():
    told = Told(f"""
        0   back {ON} program_state=ready
        10  program_state=running
        30  lost
        50  back {ON} program_state=running@10 program_state=ended@44
        60  program_state=running
        80  program_state=ended
    """)
    assert told.cycles == [(10, 30, "partial"), (60, 80, "complete")]


def test_a_run_seen_from_the_middle_is_not_made_whole_by_a_second_gap():
    told = Told(f"""
        0   back {ON} program_state=running@-20
        30  lost
        50  back {ON} program_state=running@-20
        80  program_state=ended
    """)
    assert told.cycles == [(0, 30, "partial"), (50, 80, "partial")]


def test_a_bad_program_state_does_not_end_a_cycle():
    told = Told(
        f"0 {ON} program_state=ready\n10 program_state=running\n"
        "20 program_state=bad\n25 program_state=running\n40 program_state=ended"
    )
    assert told.cycles == [(10, 40, "complete")]


@pytest.mark.parametrize("counter", ["cycle_count", "part_count"])
def test_by_a_counter(counter):
    told = Told(f"""
        0   {ON} {counter}=500
        60  {counter}=501
        110 {counter}=502 state=not_executing
        150 state=executing
        200 {counter}=503
        220 mode=manual
        230 mode=automatic
        250 {counter}=504
    """)
    assert told.cycles == [
        (0, 60, "partial"), (60, 110, "complete"), (150, 200, "complete"), (200, 220, "aborted"),
        (230, 250, "partial"),
    ]  # fmt: skip


def test_a_stop_does_not_end_a_counted_cycle():
    told = Told(
        f"0 {ON} cycle_count=1\n10 cycle_count=2\n20 state=not_executing\n50 state=executing\n70 cycle_count=3"
    )
    assert told.cycles == [(0, 10, "partial"), (10, 70, "complete")]
    assert told.of(Cycle)[-1].held_us == 30_000_000


def test_a_step_over_several_cycles_gives_no_cycle_time():
    told = Told(f"0 {ON} cycle_count=1\n10 cycle_count=2\n70 cycle_count=4\n90 cycle_count=5\n99 cycle_count=6")
    assert told.cycles == [(0, 10, "partial"), (10, 70, "partial"), (70, 90, "partial"), (90, 99, "complete")]


def test_several_parts_in_one_step_are_one_cycle():
    told = Told(f"0 {ON} part_count=0\n10 part_count=4\n20 part_count=8")
    assert told.cycles == [(0, 10, "partial"), (10, 20, "complete")]
    assert told.parts == [4, 4]


def test_a_counter_that_was_bad_for_a_while_gives_no_cycle_time():
    told = Told(
        f"0 {ON} part_count=0\n10 part_count=1\n20 part_count=bad\n"
        "70 part_count=4\n80 part_count=5\n90 part_count=6"
    )
    assert told.cycles == [(0, 10, "partial"), (10, 70, "partial"), (70, 80, "partial"), (80, 90, "complete")]


def test_a_counter_reset_to_zero_is_no_cycle():
    told = Told(f"0 {ON} cycle_count=8\n10 cycle_count=9\n20 cycle_count=0\n30 cycle_count=1")
    assert told.cycles == [(0, 10, "partial"), (10, 30, "complete")]


def test_a_gap_in_a_counted_cycle():
    told = Told(
        f"0 back {ON} part_count=1\n10 part_count=2\n20 lost\n"
        f"30 back {ON} part_count=5\n40 part_count=6\n50 part_count=7"
    )
    assert told.cycles == [(0, 10, "partial"), (10, 20, "partial"), (30, 40, "partial"), (40, 50, "complete")]


def test_by_edges_of_executing():
    told = Told("""
        0   executing=false
        10  executing=true
        60  executing=false
        70  executing=true
        80  executing=bad
        90  executing=false
        95  executing=true
        99  alive
    """)
    assert told.cycles == [(10, 60, "complete"), (70, 90, "partial"), (95, 99, "running")]


def test_executing_at_first_sight_is_partial():
    assert Told("0 executing=true\n9 executing=false").cycles == [(0, 9, "partial")]


def test_power_lost_while_executing():
    told = Told("0 state=not_executing\n10 state=executing\n30 state=not_available", bounds="executing")
    assert told.cycles == [(10, 30, "aborted")]


def test_the_bound_is_the_best_signal_offered():
    told = Told(
        f"0 {ON} program_state=ready part_count=0 cycle_count=0\n"
        "5 program_state=running\n9 part_count=1 cycle_count=1\n12 program_state=ended"
    )
    assert told.cycles == [(5, 12, "complete")]


def test_labels_told_a_little_late_still_count_and_later_ones_do_not_rename():
    told = Told(
        f"""
        0   {ON} program_state=ready
        10  program_state=running
        10.1 program=O1 lot=L-1
        20  lot=L-2
        30  program_state=ended
    """,
        part_by_program={"O1": "VC-30"},
    )
    assert (told.cycle.program, told.cycle.part, told.cycle.lot) == ("O1", "VC-30", "L-1")


def test_a_run_is_not_taken_up_again_once_another_began():
    told = Told(f"""
        0   back {ON} program_state=ready
        10  program_state=running
        30  lost
        50  back {ON} program_state=ended@40
        60  program_state=running
        80  program_state=ended
        85  lost
        90  back {ON} program_state=running@10
        99  program_state=ended
    """)
    assert told.cycles == [(10, 30, "partial"), (60, 80, "complete"), (90, 99, "partial")]
