"""Counters: roll-over, reset, gaps, and to which cycle their parts belong."""

import pytest

from swarfline.facts import Count
from swarfline.interpret.counts import Counter, step

from .told import Told

ON = "state=executing"
# numbers: reference checks D-9 (arithmetic; the reset rule is common practice, no source)
STEPS = [
    (65530, 4, 16, 10), (65535, 0, 16, 1), (4294967290, 5, 32, 11), (2**64 - 1, 1, 64, 2),
    (120000, 3, 32, 3), (500, 0, 32, 0), (0, 65535, 16, 65535), (7, 7, 16, 0), (40000, 10, 16, 25546),
    (30000, 10, 16, 10), (70000, 4, 16, 4), (250, 3, 8, 9), (255, 0, 8, 1), (100, 3, 8, 3), (128, 0, 8, 0),
    (129, 0, 8, 127), (9007199254740993, 9007199254740994, 64, 1),
]  # fmt: skip


@pytest.mark.parametrize(("before", "after", "width", "counted"), STEPS)
def test_step(before, after, width, counted):
    assert step(before, after, width) == counted


@pytest.mark.parametrize("value", [None, "12", True, -1])
def test_what_is_no_count_changes_nothing(value):
    counter = Counter(32)
    assert counter.take(100) == 0
    assert counter.take(value) == 0
    assert counter.take(103) == 3


WIDTHS = (8, 16, 32, 64)


@pytest.mark.parametrize("width", WIDTHS)
def test_a_counter_rolls_over(width):
    top = 2**width - 2
    told = Told(f"0 part_count={top}\n10 part_count=3\n20 alive", widths={"part_count": width})
    assert told.counts == [(10, "total", 5)]


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("restart_after", [0, 3, 5])
def test_a_counter_rolls_over_and_is_reset_across_a_gap(width, restart_after):
    story = "0 back {on} part_count={}\n10 lost\n20 back {on} part_count={}\n30 part_count={}\n40 alive"
    settings = {"widths": {"part_count": width}, "restart_after": restart_after}
    over = Told(story.format(2**width - 2, 3, 5, on=ON), **settings)
    assert over.counts == [(20, "total", 5, "gap"), (30, "total", 2)]
    reset = Told(story.format(2 ** (width - 2), 3, 5, on=ON), **settings)
    assert reset.counts == [(20, "total", 3, "gap"), (30, "total", 2)]


def test_a_wide_counter_is_counted_to_the_last_digit_through_a_restart():
    # beyond 2^53 a float has no odd numbers: reference checks D-9 (arithmetic)
    story = "0 part_count=9007199254740993\n10 part_count=9007199254740994\n20 part_count=9007199254740997"
    told = Told(story, widths={"part_count": 64}, restart_after=1)
    assert told.counts == [(10, "total", 1), (20, "total", 3)]


def test_several_parts_in_one_step_belong_to_the_cycle_that_ends_or_ended():
    told = Told(f"""
        0    {ON} program_state=ready part_count=0 cycle_count=0
        10   program_state=running
        60   program_state=ended part_count=4 cycle_count=1
        70   program_state=running
        120  program_state=ended
        121  part_count=8 cycle_count=2
        130  program_state=running
        180  program_state=ended program_state=running
        180.5 part_count=12
    """)
    assert [c for c in told.counts if c[1] == "total"] == [
        (60, "total", 4), (121, "total", 4), (180.5, "total", 4),
    ]  # fmt: skip
    # the last came when the next cycle had begun: nothing tells that it was not made there
    assert told.parts == [4, 4, 0, 4]


def test_the_first_reading_is_a_baseline_and_a_reset_counts_from_zero():
    told = Told("0 part_count=900\n10 part_count=902\n20 part_count=1\n30 part_count=1\n40 part_count=2")
    assert told.counts == [(10, "total", 2), (20, "total", 1), (40, "total", 1)]


def test_what_led_up_to_the_first_sight_is_no_production():
    told = Told(f"0 back {ON} part_count=7@-3 part_count=8@-1\n10 part_count=9\n20 alive")
    assert told.counts == [(10, "total", 1)]


def test_what_led_up_to_the_return_was_made_across_the_gap():
    story = f"0 back {ON} part_count=7\n10 lost\n20 back {ON} part_count=7@9 part_count=8@19\n30 alive"
    assert [(c.quantity, c.across_gap) for c in Told(story).of(Count)] == [(1, True)]


def test_several_steps_in_one_instant_are_one_count():
    told = Told("0 part_count=1\n10 part_count=2 part_count=4\n20 alive")
    assert told.counts == [(10, "total", 3)]


def test_good_and_scrap_beside_the_total():
    told = Told(
        "0 part_count=5 good_count=5 scrap_count=0\n9 part_count=6\n"
        "9.5 good_count=6\n20 part_count=7 scrap_count=1"
    )
    assert told.counts == [(9, "total", 1), (9.5, "good", 1), (20, "total", 1), (20, "scrap", 1)]


def test_without_a_total_good_and_scrap_make_it():
    told = Told("0 good_count=5 scrap_count=0\n9 good_count=6\n20 good_count=8 scrap_count=1")
    assert sorted(told.counts) == [
        (9, "good", 1), (9, "total", 1), (20, "good", 2), (20, "scrap", 1), (20, "total", 3),
    ]  # fmt: skip


def test_parts_counted_across_a_gap_are_flagged_and_belong_to_no_cycle():
    told = Told(f"""
        0   back {ON} program_state=ready part_count=10
        5   program_state=running
        20  lost
        90  back {ON} program_state=running@5 part_count=14@80
        95  program_state=ended part_count=15
    """)
    assert told.counts == [(90, "total", 4, "gap"), (95, "total", 1)]
    assert told.parts == [1]


def test_a_counter_that_comes_back_later_than_the_link_was_still_out_of_sight():
    told = Told(
        f"0 back {ON} part_count=10\n20 lost\n90 back {ON} part_count=bad\n95 part_count=13\n99 part_count=14"
    )
    assert told.counts == [(95, "total", 3, "gap"), (99, "total", 1)]


def test_a_reading_that_slips_in_between_loss_and_return_is_not_lost():
    told = Told(
        f"0 back {ON} part_count=10\n20 lost\n20.2 part_count=11\n90 back {ON} part_count=13\n99 part_count=14"
    )
    assert told.counts == [(20.2, "total", 1, "gap"), (90, "total", 2, "gap"), (99, "total", 1)]


def test_counted_just_after_its_end_a_part_belongs_to_the_cycle_that_made_it():
    told = Told(f"""
        0   {ON} program_state=ready part_count=0 part=PH-12
        10  program_state=running
        60  program_state=ended
        60.4 part=VC-30
        60.5 part_count=1
        70  program_state=running
        99  program_state=ended part_count=2
    """)
    assert told.parts == [1, 1]
    assert [f.part for f in told.of(Count)] == ["PH-12", "VC-30"]


def test_counted_as_the_program_loops_a_part_belongs_to_the_cycle_that_ended():
    told = Told(
        f"0 {ON} program_state=ready part_count=0\n10 program_state=running\n"
        "60 program_state=ended program_state=running part_count=1\n99 alive"
    )
    assert told.parts == [1, 0]


def test_counted_after_a_gap_a_part_does_not_belong_to_the_cycle_before_it():
    told = Told(f"""
        0   back {ON} program_state=ready part_count=0
        10  program_state=running
        20  lost
        30  back {ON} program_state=ended part_count=1
        35  part_count=2
    """)
    assert told.counts == [(30, "total", 1, "gap"), (35, "total", 1)]
    assert told.parts == [0]


def test_without_counters_finished_cycles_count():
    told = Told(
        f"""
        0   {ON} program_state=running part=MB-05
        10  program_state=ended
        20  program_state=running
        30  program_state=aborted
        40  program_state=running
        50  program_state=ended
    """,
        parts_per_cycle={"MB-05": 2},
    )
    assert told.counts == [(10, "total", 2), (50, "total", 2)]
    assert told.parts == [2, 0, 2]


def test_a_cycle_cut_by_a_gap_counts_only_when_its_end_was_seen():
    told = Told(
        f"0 back {ON} program_state=running\n10 lost\n"
        f"20 back {ON} program_state=running@15\n30 program_state=ended"
    )
    assert told.counts == [(30, "total", 1)]


def test_a_cycle_counter_counts_parts_even_across_a_gap():
    told = Told(
        f"0 back {ON} cycle_count=5 part=MB-05\n10 cycle_count=6\n"
        f"20 lost\n50 back {ON} cycle_count=9\n60 cycle_count=10",
        parts_per_cycle={"MB-05": 2},
    )
    assert told.counts == [(10, "total", 2), (50, "total", 6, "gap"), (60, "total", 2)]
    assert told.parts == [2, 0, 2]


def test_counts_carry_part_and_lot():
    told = Told("0 part_count=1 part=PH-12 lot=L-1\n5 part_count=2\n9 lot=L-2\n12 part_count=3")
    assert [(f.part, f.lot) for f in told.of(Count)] == [("PH-12", "L-1"), ("PH-12", "L-2")]
