"""Facts of a span: half-open, with those that reach into it, in pages."""

from __future__ import annotations

from dataclasses import replace

import pytest

from swarfline.facts import (
    COMPLETE,
    Alarm,
    Condition,
    Count,
    Cycle,
    Energy,
    Gap,
    LimitChange,
    StepPiece,
    ToolLife,
    ToolUse,
)
from swarfline.store import Batch

SPANS = [(0, 10), (10, 20), (20, 35), (40, 50)]
FOLLOWING = {
    Condition: lambda a, b: Condition("N1", a, b, "producing"),
    Cycle: lambda a, b: Cycle("N1", a, b, COMPLETE),
    Energy: lambda a, b: Energy("N1", a, b, "producing", 5.0, "power"),
    Gap: lambda a, b: Gap("N1", a, b),
    Alarm: lambda a, b: Alarm("N1", a, b),
    ToolLife: lambda a, b: ToolLife("N1", "1", a, b),
}
ASKED = [
    ((0, 50), SPANS),
    ((10, 20), [(10, 20)]),
    ((9, 20), [(0, 10), (10, 20)]),
    ((10, 21), [(10, 20), (20, 35)]),
    ((22, 23), [(20, 35)]),
    ((35, 40), []),
    ((34, 41), [(20, 35), (40, 50)]),
    ((-5, 0), []),
    ((50, 60), []),
    ((12, 12), []),
]


def fill(store, facts):
    store.writer().commit(Batch(facts=facts))


def found(store, kind, *asked):
    return [(f.start_us, f.end_us) for f in store.queries.facts(kind, "N1", *asked)]


@pytest.mark.parametrize("kind", FOLLOWING)
@pytest.mark.parametrize(("asked", "expected"), ASKED)
def test_what_overlaps_a_span(store, kind, asked, expected):
    fill(store, [FOLLOWING[kind](*span) for span in SPANS])
    assert found(store, kind, *asked) == expected


def test_a_tool_life_reaches_in_from_before_others(store):
    fill(store, [ToolLife("N1", "1", 0, 100), ToolLife("N1", "2", 10, 20), ToolLife("N1", "3", 30, 40)])
    assert found(store, ToolLife, 50, 60) == [(0, 100)]


@pytest.mark.parametrize(
    "make",
    [lambda at: Count("N1", at, "total", 1), lambda at: LimitChange("N1", "1", at, "7", "limit", None, 5.0)],
)
def test_moments_belong_to_the_span_that_begins_with_them(store, make):
    fill(store, [make(at) for at in (0, 10, 20, 30)])
    kind = type(make(0))
    assert [f.time_us for f in store.queries.facts(kind, "N1", 10, 30)] == [10, 20]


def test_other_machines_are_left_out(store):
    fill(store, [Condition("N1", 0, 10, "producing"), Condition("N10", 0, 10, "held")])
    assert [f.condition for f in store.queries.facts(Condition, "N1", 0, 50)] == ["producing"]


@pytest.mark.parametrize("kind", FOLLOWING)
def test_pages(store, kind):
    fill(store, [FOLLOWING[kind](*span) for span in reversed(SPANS)])
    assert found(store, kind, 5, 45, 2) == SPANS[:2]
    assert found(store, kind, 5, 45, 2, 10) == SPANS[2:]
    assert found(store, kind, 5, 45, 2, 40) == []
    assert found(store, kind, 5, 45, None, 0) == SPANS[1:]


def test_facts_of_one_moment_come_in_the_order_of_their_keys(store):
    facts = [Count("N1", 5, "total", 3), Count("N1", 5, "good", 1), Count("N1", 5, "scrap", 2)]
    fill(store, facts)
    assert [f.count_kind for f in store.queries.facts(Count, "N1", 0, 9)] == ["good", "scrap", "total"]
    assert store.queries.facts(Count, "N1", 0, 9, after=5) == []


WHOLE = [
    Cycle(
        "N1", a, b, COMPLETE, "O1", "PH-12", "L1", 1, (b - a, 0, 0, 0, 0), 5.0,
        (ToolUse("7", 1, b - a, b - a, 30.0, 60.0, 1.0),), (StepPiece(0, "cutting", "7"),), 1,
    )
    for a, b in SPANS
]  # fmt: skip
EMPTY = {"energy_j": None, "tools": (), "strip": ()}


@pytest.mark.parametrize(("asked", "expected"), ASKED)
def test_cycles_with_fields_left_out_are_those_of_the_span(store, asked, expected):
    fill(store, WHOLE)
    whole = [c for c in WHOLE if (c.start_us, c.end_us) in expected]
    assert store.queries.cycles("N1", *asked, ()) == whole
    assert store.queries.cycles("N1", *asked) == [replace(c, strip=()) for c in whole]
    assert store.queries.cycles("N1", *asked, tuple(EMPTY)) == [replace(c, **EMPTY) for c in whole]


def test_the_cycle_before_a_moment(store):
    fill(store, [*WHOLE, Cycle("N2", 5, 6, COMPLETE)])
    assert store.queries.cycle_before("N1", 10) == WHOLE[0]
    assert store.queries.cycle_before("N1", 11) == WHOLE[1]
    assert store.queries.cycle_before("N1", 0) is None
    assert store.queries.cycle_before("N3", 99) is None
