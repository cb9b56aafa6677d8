"""Plans of tool changes: allowed, and with as few stops as can be."""

from fractions import Fraction
from itertools import combinations
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from swarfline.measure.changes import Change, LifeAhead, Stop, plan_changes

QUARTER = Fraction(1, 4)


def stops_of(tools, horizon, most=QUARTER):
    return [
        (stop.cycle, [change.tool for change in stop.changes]) for stop in plan_changes(tools, horizon, most).stops
    ]


def check(tools, horizon, most, plan):
    """The plan does what it says: no limit passed, no more given up than allowed, every change counted right."""
    ends = [tool.left for tool in tools]
    before = -1
    for stop in plan.stops:
        assert before < stop.cycle < horizon
        assert stop.changes, "no stop without a change"
        before = stop.cycle
        for change in stop.changes:
            full = tools[change.tool].full
            assert change.given_up == ends[change.tool] - stop.cycle
            assert 0 <= change.given_up <= most * full
            ends[change.tool] = stop.cycle + full
    assert all(end >= horizon for end in ends)


def fewest(tools, horizon, most):
    """By trying all sets of stops."""

    def lasts(tool, stops, end):
        if end >= horizon:
            return True
        ways = (s for s in stops if max(0, end - most * tool.full) <= s <= end)
        return any(lasts(tool, [later for later in stops if later > s], s + tool.full) for s in ways)

    for count in range(horizon + 1):
        for stops in combinations(range(horizon), count):
            if all(lasts(tool, stops, tool.left) for tool in tools):
                return count
    raise AssertionError("a stop after each cycle is always enough")


lives = st.builds(LifeAhead, st.integers(0, 12), st.integers(1, 9))
shares = st.fractions(0, 1, max_denominator=20)


@given(st.lists(lives, max_size=4), st.integers(1, 9), shares)
@settings(max_examples=300, deadline=None)
def test_as_few_stops_as_can_be(tools, horizon, most):
    plan = plan_changes(tools, horizon, most)
    check(tools, horizon, most, plan)
    assert plan.proven
    assert len(plan.stops) == fewest(tools, horizon, most)


@given(
    st.lists(st.builds(LifeAhead, st.integers(0, 90), st.integers(1, 60)), max_size=12),
    st.integers(1, 150),
    shares,
)
@settings(max_examples=100, deadline=None)
def test_every_plan_is_allowed_and_none_has_fewer_stops_than_it_must(tools, horizon, most):
    plan = plan_changes(tools, horizon, most)
    check(tools, horizon, most, plan)
    assert plan.at_least <= len(plan.stops)


def test_nothing_to_change():
    assert plan_changes([], 100, QUARTER).stops == ()
    assert plan_changes([LifeAhead(100, 200)], 100, QUARTER).stops == (), "it lasts as long as the horizon"


def test_tools_past_their_limit_are_changed_now():
    assert stops_of([LifeAhead(0, 100), LifeAhead(20, 100)], 50) == [(0, [0, 1])]


def test_tools_share_a_stop_when_none_gives_up_too_much():
    tools = [LifeAhead(40, 100), LifeAhead(60, 100)]
    assert plan_changes(tools, 70, QUARTER).stops == (Stop(40, (Change(0, 0), Change(1, 20))),)
    assert stops_of(tools, 70, Fraction(19, 100)) == [(40, [0]), (60, [1])]
    assert stops_of(tools, 70, Fraction(0)) == [(40, [0]), (60, [1])]


def test_a_tool_may_be_due_several_times():
    assert stops_of([LifeAhead(5, 10), LifeAhead(34, 100)], 50) == [
        (5, [0]),
        (15, [0]),
        (25, [0, 1]),
        (35, [0]),
        (45, [0]),
    ]


def test_an_earlier_stop_may_save_a_later_one():
    """Changed at 2, the latest, the first tool may be changed again at 5; changed at 1, at 4 with the other."""
    plan = plan_changes([LifeAhead(2, 4), LifeAhead(4, 3)], 7, Fraction(2, 5))
    assert plan.stops == (Stop(1, (Change(0, 1),)), Stop(4, (Change(0, 1), Change(1, 0))))
    assert plan.proven


def test_a_large_magazine_over_many_cycles():
    rng = Random(5)
    tools = [LifeAhead(rng.randrange(full), full) for full in (rng.randint(40, 3000) for _ in range(60))]
    plan = plan_changes(tools, 2000, QUARTER)
    check(tools, 2000, QUARTER, plan)
    alone = sum(1 + (2000 - 1 - t.left) // t.full for t in tools if t.left < 2000)
    assert len(plan.stops) < alone / 2
    assert plan.at_least <= len(plan.stops) <= 1.5 * plan.at_least


@pytest.mark.parametrize("most", [Fraction(0), Fraction(1, 20), QUARTER, Fraction(1)])
def test_a_looser_rule_never_needs_more_stops(most):
    rng = Random(7)
    tools = [LifeAhead(rng.randrange(full), full) for full in (rng.randint(20, 400) for _ in range(12))]
    strict, loose = plan_changes(tools, 300, most), plan_changes(tools, 300, Fraction(1))
    check(tools, 300, most, strict)
    assert len(loose.stops) <= len(strict.stops)
    assert loose.proven
