"""What holds for any stream: slicing and restarts change nothing, time is tiled, cycles do not overlap."""

import json
from dataclasses import astuple
from itertools import pairwise

import pytest
from hypothesis import HealthCheck, event, given, settings
from hypothesis import strategies as st

from swarfline.facts import Condition, Cycle, Energy
from swarfline.interpret.fold import Fold
from swarfline.signals import LINK, LINK_BACK, LINK_LOST

from .odd import assert_storable
from .streams import MACHINE, metered, powered, shuffled, streams
from .told import BEGIN_US, Told

QUARTER_US = 900_000_000
many = settings(max_examples=200, deadline=None, suppress_health_check=list(HealthCheck))


class Run:
    """A stream fed in slices: every final fact in order, and the latest of every key at the end."""

    def __init__(self, machine_settings, readings, cuts=(), restarts=()):
        self.final, self.latest, self.late = [], {}, []
        fold, begin = Fold([machine_settings]), 0
        for end in sorted({*cuts, *restarts, len(readings)}):
            fed = fold.feed(readings[begin:end])
            self.late += [begin + place for place in fed.late]
            self._keep(fed.facts)
            if end in restarts:
                state = json.dumps(fold.save(MACHINE))
                fold = Fold([machine_settings])
                fold.load(MACHINE, json.loads(state))
            self._look_ahead(fold)
            begin = end
        self._keep(fold.flush())
        self._look_ahead(fold)

    def _keep(self, facts):
        self.final += facts
        self.latest.update({(f.kind, *f.key): f for f in facts})

    def _look_ahead(self, fold):
        self.latest.update({(f.kind, *f.key): f for f in fold.open_facts()})

    def of(self, kind):
        return sorted((f for f in self.latest.values() if isinstance(f, kind)), key=lambda f: f.start_us)

    def same_as(self, other):
        assert self.late == other.late
        assert self.final == other.final
        assert self.latest == other.latest


def places(data, readings):
    return data.draw(st.sets(st.integers(1, len(readings))))


@many
@given(streams(), st.data())
def test_slicing_changes_nothing(stream, data):
    whole = Run(*stream)
    Run(*stream, cuts=range(1, len(stream[1]))).same_as(whole)
    Run(*stream, cuts=places(data, stream[1])).same_as(whole)
    for kind in {f.kind for f in whole.final}:
        event(f"told a {kind}")


@many
@given(streams(), st.data())
def test_restarts_change_nothing(stream, data):
    whole = Run(*stream)
    Run(*stream, cuts=places(data, stream[1]), restarts=places(data, stream[1])).same_as(whole)


WEEK_US = 7 * 86_400 * 1_000_000


def a_week_later(state, by_us=WEEK_US):
    """Plain data with every moment in it moved; a moment is far from all other numbers."""
    if isinstance(state, list | tuple):
        return [a_week_later(value, by_us) for value in state]
    is_moment = type(state) is int and BEGIN_US // 2 < state < 2 * BEGIN_US
    return state + by_us if is_moment else state


@many
@given(streams())
def test_a_week_later_the_same_happens_a_week_later(stream):
    machine_settings, readings = stream
    shifted = [r._replace(source_us=r.source_us + WEEK_US, received_us=r.received_us + WEEK_US) for r in readings]
    now, then = Run(machine_settings, readings), Run(machine_settings, shifted)
    assert [a_week_later(astuple(f)) for f in now.final] == [a_week_later(astuple(f), 0) for f in then.final]


@many
@given(shuffled())
def test_the_order_of_arrival_within_the_window_changes_nothing(stream):
    machine_settings, in_time, as_arrived = stream
    Run(machine_settings, as_arrived).same_as(Run(machine_settings, in_time))


@many
@given(streams())
def test_every_number_of_a_fact_is_one_that_a_database_takes(stream):
    assert_storable(Run(*stream).latest.values())


@many
@given(streams())
def test_conditions_tile_time(stream):
    run = Run(*stream)
    tiles = run.of(Condition)
    assert all(a.end_us == b.start_us for a, b in pairwise(tiles))
    assert all(t.start_us < t.end_us for t in tiles)
    assert not any(t.open for t in tiles[:-1])
    if tiles:
        assert sum(t.end_us - t.start_us for t in tiles) == tiles[-1].end_us - tiles[0].start_us


@many
@given(streams())
def test_conditions_are_maximal_but_for_returns(stream):
    """Two neighbours differ, unless the link returned just there."""
    machine_settings, readings = stream
    tiles = Run(machine_settings, [r for r in readings if r.signal != LINK]).of(Condition)
    assert all(a.condition != b.condition for a, b in pairwise(tiles))


@many
@given(streams())
def test_cycles_never_overlap_and_their_steps_add_up(stream):
    cycles = Run(*stream).of(Cycle)
    assert all(a.end_us <= b.start_us for a, b in pairwise(cycles))
    for cycle in cycles:
        assert cycle.start_us < cycle.end_us
        assert sum(cycle.step_us) == cycle.duration_us
        assert sum(use.in_spindle_us for use in cycle.tools) <= cycle.duration_us
        assert [use.order for use in cycle.tools] == list(range(1, len(cycle.tools) + 1))
        offsets = [piece.offset_us for piece in cycle.strip]
        assert offsets[0] == 0
        assert offsets == sorted(set(offsets))
        assert all(a[1:] != b[1:] for a, b in pairwise(cycle.strip))


@many
@given(streams())
def test_only_the_last_cycle_is_open_and_only_once(stream):
    run = Run(*stream, cuts=range(1, len(stream[1])))
    assert [c.open for c in run.of(Cycle)][:-1] == [False] * (len(run.of(Cycle)) - 1)
    assert all(c.open == (c.outcome == "running") for c in run.of(Cycle))


def held_power(readings):
    """µs·W by integration written out anew: each value holds to the next, never over a gap."""
    total, watts, since, linked, newest = 0.0, None, 0, True, readings[-1].source_us
    for at, signal, value in [*((r.source_us, r.signal, r.value) for r in readings), (newest, "end", None)]:
        if linked and watts is not None:
            total += watts * (at - since)
        since = at
        if signal == LINK:
            linked, watts = value == LINK_BACK, None
        elif signal == "power":
            watts = value
    return total


@many
@given(powered())
def test_energy_is_the_integral_of_power(readings):
    pieces = Told(readings, offers=("power",)).of(Energy)
    assert sum(p.energy_j for p in pieces) == pytest.approx(held_power(readings) * 1e-6, abs=1e-6)
    in_order = sorted(pieces, key=lambda p: p.start_us)
    assert all(a.end_us <= b.start_us for a, b in pairwise(in_order))
    assert all((p.end_us - 1) // QUARTER_US == p.start_us // QUARTER_US for p in pieces)


@many
@given(metered())
def test_energy_is_what_the_counter_gained(readings):
    told = Told(readings, offers=("energy",))
    shown = {}
    linked = True
    for r in readings:
        if r.signal == LINK:
            linked = r.value != LINK_LOST
        elif r.signal == "energy" and linked:
            shown[r.source_us] = r.value
    gained = list(shown.values())[-1] - next(iter(shown.values())) if shown else 0
    pieces = sorted(told.of(Energy), key=lambda p: p.start_us)
    assert sum(p.energy_j for p in pieces) == pytest.approx(gained * 3600.0, abs=1e-6)
    assert all(a.end_us == b.start_us for a, b in pairwise(pieces))
    cycles = [c for c in told.of(Cycle) if c.energy_j is not None]
    for cycle in cycles:
        inside = [p for p in pieces if cycle.start_us <= p.start_us and p.end_us <= cycle.end_us]
        assert sum(p.energy_j for p in inside) <= cycle.energy_j + 1e-6


@many
@given(st.lists(st.tuples(st.integers(1, 100), st.integers(0, 9000), st.booleans()), min_size=1, max_size=40))
def test_every_part_is_counted_once(steps):
    """A 16-bit counter that rolls over, with gaps: what is told adds up to what was made."""
    lines, made, at = ["0 back part_count=60000 state=executing"], 60000, 0
    for seconds, more, gap in steps:
        at += seconds
        if gap:
            lines.append(f"{at} lost")
            at += 1
        made += more
        lines.append(f"{at} {'back ' * gap}part_count={made % 65536} state=executing")
    told = Told("\n".join(lines), widths={"part_count": 16})
    assert sum(count[2] for count in told.counts) == made - 60000
    assert len(told.counts) == sum(more > 0 for _, more, _ in steps)
    flagged = [count for count in told.counts if "gap" in count]
    assert len(flagged) == sum(gap and more > 0 for _, more, gap in steps)
