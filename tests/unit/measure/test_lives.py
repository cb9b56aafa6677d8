"""Tool history: how lives ended, what they achieved, and which of them are censored."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from swarfline.facts import ABORTED, Alarm, Cycle, StepPiece, ToolLife
from swarfline.measure.lives import (
    AT_LIMIT,
    BREAKAGE_WINDOW_US,
    EARLY,
    ENDS,
    FAILED,
    REMOVED,
    UNKNOWN,
    Breakage,
    broken_lives,
    by_kind,
    ending,
    history,
    tells_breakage,
    tool_at,
)
from swarfline.measure.survival import Lifetime, survival_steps, survival_to

from .timelines import HOUR


def life(used, start=0, end=HOUR, machine="N1", pot="P7", tool="7", **more):
    fields = {"name": "end mill", "basis": "count", "limit": 100.0, "whole": True, "reason": "reset", **more}
    return ToolLife(machine, pot, start, end, tool, used=used, **fields)


@pytest.mark.parametrize(
    ("ended", "how"),
    [
        (life(100), AT_LIMIT),
        (life(130, locked=True), AT_LIMIT),
        (life(95), AT_LIMIT),
        (life(94.9), EARLY),
        (life(60, reason="replaced"), REMOVED),
        (life(100, reason="replaced"), AT_LIMIT),
        (life(60, locked=True), FAILED),
        (life(60, locked=True, reason="replaced"), FAILED),
        (life(60, limit=None), UNKNOWN),
        (life(60, limit=0.0), UNKNOWN),
        (life(60, limit=None, locked=True), UNKNOWN),
    ],
)
def test_how_a_life_ended(ended, how):
    assert ending(ended) == how


def test_a_breakage_is_a_failure_wherever_it_happens():
    assert [ending(life(used), broken=True) for used in (10, 99, 120)] == [FAILED] * 3
    assert ending(life(10, limit=None), broken=True) == FAILED


def test_a_breakage_belongs_to_the_tool_in_the_spindle():
    lives = [life(40, end=3 * HOUR), life(50, end=3 * HOUR, pot="P8", tool="8"), life(9, 3 * HOUR, 4 * HOUR)]
    assert broken_lives(lives, [Breakage("N1", 2 * HOUR, "8")]) == {lives[1].key}
    assert broken_lives(lives, [Breakage("N2", 2 * HOUR, "8")]) == set()
    assert broken_lives(lives, [Breakage("N1", 2 * HOUR, "9")]) == set()


def test_a_breakage_of_an_unknown_tool_belongs_to_the_only_early_end():
    early, due = life(40, end=3 * HOUR), life(100, end=3 * HOUR, pot="P8", tool="8")
    assert broken_lives([early, due], [Breakage("N1", 2 * HOUR)]) == {early.key}
    other = life(50, end=4 * HOUR, pot="P9", tool="9")
    assert broken_lives([early, due, other], [Breakage("N1", 2 * HOUR)]) == set(), "which of the two is not known"


def test_a_breakage_ends_the_life_soon_or_was_a_false_alarm():
    inside, later = life(40, end=HOUR + BREAKAGE_WINDOW_US), life(40, end=HOUR + BREAKAGE_WINDOW_US + 1)
    assert broken_lives([inside], [Breakage("N1", HOUR, "7")]) == {inside.key}
    assert broken_lives([later], [Breakage("N1", HOUR, "7")]) == set()
    going_on = life(40, open=True, reason="")
    assert broken_lives([going_on], [Breakage("N1", 1, "7")]) == set()


def test_which_alarms_tell_of_breakage():
    marks = ("C101", "broken tool")
    assert tells_breakage(Alarm("N1", 0, 1, "C101", ""), marks)
    assert tells_breakage(Alarm("N1", 0, 1, "", "Broken Tool in T7"), marks)
    assert not tells_breakage(Alarm("N1", 0, 1, "C1010", "Coolant"), marks)
    assert not tells_breakage(Alarm("N1", 0, 1, "", ""), marks) and not tells_breakage(Alarm("N1", 0, 1), ())


def test_the_tool_in_the_spindle_at_a_moment_of_a_cycle():
    strip = (StepPiece(0, "positioning", ""), StepPiece(5, "cutting", "7"), StepPiece(9, "tool_change", ""))
    ran = Cycle("N1", 100, 120, ABORTED, strip=(*strip, StepPiece(12, "cutting", "8")))
    assert [tool_at(ran, at) for at in (104, 105, 110, 111, 112, 120)] == ["", "7", "7", "7", "8", "8"]


def test_two_sister_tools_of_one_number_break_one_at_a_time():
    first, second = life(40, end=3 * HOUR), life(50, end=5 * HOUR, pot="P8")
    assert broken_lives([second, first], [Breakage("N1", 2 * HOUR, "7")]) == {first.key}


LIVES = [
    life(100, start=0),
    life(98, start=1),
    life(40, start=2, locked=True),
    life(50, start=3),
    life(70, start=4, reason="replaced"),
    life(60, start=5),
    life(30, start=6, whole=False),
    life(20, start=7, open=True, reason=""),
    life(10, start=8, limit=120.0, open=True, reason=""),
    life(5, start=9, limit=None, open=True, reason="", whole=False),
]


def test_a_history_adds_up():
    found = history(LIVES, {LIVES[3].key})
    assert (found.lives, found.open, found.not_whole, found.broken) == (10, 2, 2, 1)
    assert found.ends == {AT_LIMIT: 2, FAILED: 2, EARLY: 1, REMOVED: 1, UNKNOWN: 0}
    assert found.achieved == (40, 50, 60, 70, 98, 100)
    assert found.limit == 120, "the newest one told"
    assert found.failures == 2


def test_the_share_given_up_is_a_ratio_of_sums_over_ended_lives():
    found = history([*LIVES, life(300, start=10)]).given_up
    assert (found.numerator, found.denominator) == (2 + 60 + 50 + 30 + 40, 700), (
        "past the limit nothing is given up"
    )
    assert history([life(5, open=True)]).given_up.value is None
    assert history([life(5, limit=None)]).given_up.value is None


def test_what_did_not_fail_is_censored_and_what_was_not_whole_left_out():
    found = history(LIVES, {LIVES[3].key})
    assert sorted(found.lifetimes) == sorted(
        [
            *(Lifetime(used, False) for used in (100, 98, 70, 60, 20, 10)),
            Lifetime(40, True),
            Lifetime(50, True),
        ]
    )


def test_early_ends_are_failures_where_people_say_so():
    found = history(LIVES, early_fails=True)
    assert {n.used for n in found.lifetimes if n.failed} == {40, 50, 60}


def test_a_life_that_used_nothing_enters_no_estimate():
    assert history([life(0), life(0, start=1, open=True)]).lifetimes == ()


def test_no_lives_give_nothing():
    found = history([])
    assert (found.lives, found.achieved, found.limit, found.failures) == (0, (), None, 0)


def test_tool_types_stand_in_order_machines_apart_or_together():
    lives = [
        life(1, tool="10"),
        life(1, tool="9"),
        life(1, tool="drill"),
        life(1, machine="N2", tool="9"),
        life(1, tool="9", basis="time"),
    ]
    assert [key[:2] for key in by_kind(lives)] == [
        ("N1", "9"), ("N1", "9"), ("N1", "10"), ("N1", "drill"), ("N2", "9"),
    ]  # fmt: skip
    together = by_kind(lives, apart=False)
    assert [len(together["", "9", "end mill", basis]) for basis in ("count", "time")] == [2, 1]


ANY_LIFE = st.builds(
    lambda used, start, **more: life(used, start, start + 1, **more),
    st.floats(0, 200),
    st.integers(0, 10**9),
    limit=st.sampled_from([None, 50.0, 100.0]),
    locked=st.booleans(),
    whole=st.booleans(),
    open=st.booleans(),
    reason=st.sampled_from(["reset", "replaced"]),
)


@given(st.lists(ANY_LIFE, max_size=30, unique_by=lambda n: n.start_us), st.booleans())
def test_every_life_is_somewhere_once(lives, early_fails):
    found = history(lives, early_fails=early_fails)
    assert found.lives == len(lives) == found.open + found.not_whole + sum(found.ends.values())
    assert len(found.achieved) == sum(found.ends.values()) and tuple(found.ends) == ENDS
    assert len(found.lifetimes) <= found.lives - found.not_whole
    assert found.failures <= found.ends[FAILED] + (found.ends[EARLY] if early_fails else 0)


def test_survival_without_censoring_is_the_share_that_lasted():
    steps = survival_steps([Lifetime(used, True) for used in (1, 2, 2, 4)])
    assert [(s.used, s.share) for s in steps] == [(1, 0.75), (2, pytest.approx(0.25)), (4, 0)]
    assert steps[0].error == pytest.approx((0.75 * 0.25 / 4) ** 0.5), "the binomial one"
    assert steps[-1].error == 0


def test_survival_to_a_limit_counts_who_fails_there_as_lasting():
    lives = [Lifetime(4, True), Lifetime(10, True), Lifetime(10, False), Lifetime(3, False)]
    assert survival_to(lives, 4)[0] == 1
    share, low, high = survival_to(lives, 10)
    assert share == pytest.approx(2 / 3) and 0 < low < share < high < 1
    assert survival_to(lives, 10.5) is None, "nothing was seen to last so long"
    assert survival_to([], 1) is None


def test_without_a_failure_the_lower_bound_says_how_much_was_seen():
    assert survival_to([Lifetime(10, False)] * 59, 10) == (1, pytest.approx(0.05 ** (1 / 59)), 1)
