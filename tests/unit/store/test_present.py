"""What is so now: tools in the machine, last cycles, how far time is told, pictures, connections, checkpoints."""

from __future__ import annotations

from dataclasses import replace

import pytest

from swarfline.facts import COMPLETE, UNOBSERVED, Condition, Cycle, ToolLife, ToolUse
from swarfline.store import Batch


def fill(store, *facts, **others):
    store.writer().commit(Batch(facts=facts, **others))


def test_tools_in_the_machine(store):
    gone = ToolLife("N1", "2", 0, 5, "7", reason="replaced")
    now = [ToolLife("N1", "2", 5, 9, "8", open=True), ToolLife("N1", "3", 2, 9, open=True)]
    fill(store, *reversed(now), gone, ToolLife("S1", "1", 0, 9, open=True))
    assert store.queries.open_tool_lives("N1") == now
    fill(store, ToolLife("N1", "3", 2, 12, reason="reset"))
    assert store.queries.open_tool_lives("N1") == now[:1]


CYCLES = [
    Cycle("N1", 0, 10, COMPLETE, "O1"),
    Cycle("N1", 10, 20, "aborted", "O1"),
    Cycle("N1", 20, 30, COMPLETE, "O2"),
    Cycle("N1", 30, 40, COMPLETE, "O1"),
    Cycle("N1", 40, 50, "running", "O1", open=True),
    Cycle("S1", 0, 5, COMPLETE, "O1"),
]
ASKED = [
    ((9, 99), {}, [0, 20, 30]),
    ((2, 99), {}, [20, 30]),
    ((9, 40), {}, [0, 20, 30]),
    ((9, 39), {}, [0, 20]),
    ((9, 99), {"program": "O1"}, [0, 30]),
    ((1, 99), {"program": "O2"}, [20]),
    ((9, 99), {"program": ""}, []),
]


@pytest.mark.parametrize(("asked", "more", "starts"), ASKED)
def test_last_cycles(store, asked, more, starts):
    fill(store, *CYCLES)
    assert [c.start_us for c in store.queries.last_cycles("N1", *asked, **more)] == starts


MANY = [
    Cycle("N1", n, n + 1, COMPLETE, f"O{n}", tools=(ToolUse("7", 1, n, n, 30.0, 60.0, 1.0),)) for n in range(8)
]
OTHER = [
    Cycle("N1", 20, 21, COMPLETE, "O", tools=(ToolUse("8", 1, 5, 4), ToolUse('7"', 2, 5, 4))),
    Cycle("N1", 21, 22, COMPLETE, '["7",', tools=(ToolUse('["7",', 1, 5, 4),)),
    Cycle("N1", 22, 23, "aborted", "O", tools=(ToolUse("7", 1, 5, 4),)),
    Cycle("S1", 5, 6, COMPLETE, "O", tools=(ToolUse("7", 1, 5, 4),)),
]


@pytest.mark.parametrize(
    ("read", "most_read", "of", "most", "every", "programs"),
    [
        ((0, 99), 99, (0, 99), 8, 1, "01234567"),
        ((2, 5), 99, (0, 99), 8, 1, "234"),
        ((0, 99), 99, (2, 5), 8, 1, "234"),
        ((0, 99), 99, (0, 99), 7, 2, "1357"),
        ((0, 99), 99, (0, 99), 2, 4, "37"),
        ((0, 8), 4, (0, 99), 8, 2, "1357"),
        ((0, 8), 4, (0, 99), 2, 4, "37"),
        ((30, 99), 1, (0, 99), 1, 1, ""),
    ],
)
def test_a_tools_uses_thinned_where_they_are_many(store, read, most_read, of, most, every, programs):
    fill(store, *MANY, *OTHER)
    found = store.queries.cycle_tools("N1", *read, most_read).of("7", *of, most)
    assert found == (every, [(f"O{n}", MANY[int(n)].tools[0]) for n in programs])


def test_a_tool_that_only_looks_like_another_is_told_apart(store):
    fill(store, *OTHER)
    cycles = store.queries.cycle_tools("N1", 0, 99, 99)
    assert cycles.of("7", 0, 99, 9) == (1, [])
    assert cycles.of('7"', 0, 99, 9) == (1, [("O", ToolUse('7"', 2, 5, 4))])


def test_when_cycles_began_and_what_they_make(store):
    fill(store, *CYCLES, Cycle("N1", 60, 70, COMPLETE, "O1", "PH-12"))
    ask = store.queries.cycle_starts
    assert ask("N1", 15, 35) == [(10, ""), (20, ""), (30, "")], "the one that reaches into the span, too"
    assert ask("N1", 55, 99) == [(60, "PH-12")]
    assert ask("N1", 20, 20) == [] and ask("N2", 0, 99) == []


def test_energy_of_the_complete_cycles_that_began_in_a_span(store):
    fill(store, *CYCLES, Cycle("N1", 60, 70, COMPLETE, "O1", "PH-12", parts=2, energy_j=7.5))
    assert store.queries.cycle_energies("N1", 30, 61) == [("O1", "", 0, None), ("O1", "PH-12", 2, 7.5)]
    assert store.queries.cycle_energies("N1", 61, 99) == []


def test_the_running_cycle(store):
    assert store.queries.running_cycle("N1") is None
    fill(store, *CYCLES)
    assert store.queries.running_cycle("N1") == CYCLES[4]
    assert store.queries.running_cycle("S1") is None, "its newest cycle has ended"


def test_how_far_time_is_told(store):
    queries = store.queries
    assert (queries.bounds("N1"), queries.latest_us("N1")) == (None, None)
    fill(store, *(Condition("N1", a, b, "waiting") for a, b in [(20, 35), (5, 12), (12, 20)]))
    fill(store, Condition("S1", 1, 99, "waiting"))
    assert (queries.bounds("N1"), queries.latest_us("N1")) == ((5, 35), 35)


def test_the_present_picture(store):
    fill(store, now={"N1": {"condition": "waiting"}, "S1": {"values": {"part": "Gehäuse", "power": None}}})
    fill(store, now={"N1": {"condition": "producing", "at_us": 2**62}})
    assert store.queries.now("N1") == {"condition": "producing", "at_us": 2**62}
    assert store.queries.now("S1") == {"values": {"part": "Gehäuse", "power": None}}
    assert store.queries.now("N2") is None


def test_connections(store):
    fill(store, servers={"line": {"state": "lost"}, "hall": {"state": "connected"}}, seen_us=5)
    fill(store, servers={"line": {"state": "connected"}}, seen_us=9)
    assert store.queries.servers() == [{"state": "connected", "seen_us": 5}, {"state": "connected", "seen_us": 9}]


def test_checkpoints(store):
    state = {"order": [1, [2.5, None, True]], "values": {"part": "Gehäuse", "lot": "\ud800\0"}}
    fill(store, checkpoints={"N1": {"first": 1}, "S1": state})
    fill(store, checkpoints={"N1": {"second": 2}})
    assert store.checkpoints() == {"N1": {"second": 2}, "S1": state}


def test_an_empty_batch(store):
    fill(store)
    assert (store.checkpoints(), store.queries.servers(), store.queries.alerts()) == ({}, [], [])


def test_whether_the_database_answers(store):
    assert store.queries.reachable()


def test_bare_cycles_are_the_last_ones_without_what_is_long(store):
    told = [replace(c, tools=(ToolUse("7", 1, 0, 0),), energy_j=5.0, step_us=(1, 2, 3, 4, 0)) for c in CYCLES]
    fill(store, *told)
    bare = [Cycle("N1", c.start_us, c.end_us, COMPLETE, c.program) for c in store.queries.last_cycles("N1", 9, 99)]
    assert [c.start_us for c in bare] == [0, 20, 30]
    assert store.queries.bare_cycles("N1", 9, 99) == bare
    assert store.queries.bare_cycles("N1", 2, 99) == bare[1:]
    assert store.queries.bare_cycles("N1", 9, 39) == bare[:2]


@pytest.mark.parametrize(
    ("asked", "expected"),
    [
        ((0, 99), [(5, 20), (30, 60)]),
        ((7, 50), [(7, 20), (30, 50)]),
        ((22, 28), []),
        ((25, 35), [(30, 35)]),
        ((70, 99), []),
        ((30, 30), []),
    ],
)
def test_observed_time(store, asked, expected):
    shown = [("producing", 5, 10), ("waiting", 10, 20), (UNOBSERVED, 20, 30), ("producing", 30, 60)]
    fill(store, *(Condition("N1", start, end, condition) for condition, start, end in shown))
    assert store.queries.observed("N1", *asked) == expected
    assert store.queries.observed("S1", *asked) == []
