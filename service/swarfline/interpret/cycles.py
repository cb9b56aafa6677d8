"""Where cycles begin and end.

House rules: at most one cycle is open; the last closed one may still be amended (parts and tool life that are
told after its end) until the next one starts. Edges of one instant are taken in the order in which they came,
with the values that hold at the end of the instant; an end that was told comes before an abort of the same
instant.

| bound | starts | ends |
| --- | --- | --- |
| program_state | turns running | ended, or ready from running: complete; aborted, or ready from a hold: aborted |
| cycle_count, part_count | executing, or the step before | step of the counter: complete |
| executing | turns executing | no longer executing: complete |
| any | | mode leaves automatic, or power lost: aborted; connection lost: partial |

A cycle is partial, however it ended, when it was already running as we first saw it, or when the counter that
cuts it was out of sight or stepped over several cycles at once. After a loss of connection the same run goes
on, whole, when the server still names the moment at which it began.

A program that loops for ever shows no end. It is one whose cycle_count steps twice in one run (one step may be
early or late, of the run's own end or of the one before); from there on the counter cuts. Parts may be counted one
by one within a run, so a part counter never does. After a hold, another program is another run.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from swarfline.facts import ABORTED, COMPLETE, OTHER, PARTIAL, RUNNING
from swarfline.interpret.conditions import state_of
from swarfline.interpret.record import CycleRecord
from swarfline.interpret.steps import STEP_INDEX

Edge = tuple[object, int]
"""(program state, or for a counter whether it stepped over exactly one cycle in sight; raw source time)"""

Steps = tuple[int, bool]
"""(how far cycle_count stepped in this instant, whether it was in sight)"""

REST_US = 2_000_000
"""A loop that ends within this time of its last step left no cycle: the counter was a little early."""

KEPT = 64
"""Closed cycles that wait for the energy counter at most; older ones are told without energy."""


class Cycles:
    """The open and the last cycle of one machine; ``touched`` are closed ones to tell (again)."""

    __slots__ = (
        "_ahead",
        "_allowed",
        "_cut_us",
        "_executing",
        "_keeps",
        "_machine",
        "_program",
        "_severed",
        "bounds",
        "kept",
        "last",
        "open",
        "suspended",
        "touched",
    )

    def __init__(self, machine: str, bounds: str, keeps: bool) -> None:
        self._machine = machine
        self._keeps = keeps
        self.bounds = bounds
        self.open: CycleRecord | None = None
        self.last: CycleRecord | None = None
        self.suspended: CycleRecord | None = None
        self.kept: list[CycleRecord] = []
        self.touched: list[CycleRecord] = []
        self._program: object = None
        self._executing: bool | None = None
        self._allowed = False
        self._severed = False
        self._ahead = 0
        self._cut_us: int | None = None

    def settle(
        self,
        at_us: int,
        edges: list[Edge],
        values: Mapping[str, object],
        mode_offered: bool,
        steps: Steps | None = None,
    ) -> None:
        """Take in what happened at one instant of an observed machine."""
        state = state_of(values)
        automatic = not mode_offered or values.get("mode") in (None, "automatic")
        allowed = automatic and state != "not_available"
        executing = None if state is None else state == "executing"
        if self.bounds == "program_state":
            self._by_program(at_us, edges, allowed, values.get("program"))
            if steps is not None:
                self._by_loop(at_us, *steps)
        else:
            self._by_count(at_us, edges, bool(executing and allowed))
        if self.open is not None and not allowed:
            self._end_run(at_us, ABORTED)
        if self.bounds != "program_state":
            self._by_executing(at_us, executing, allowed)
        self._allowed = allowed

    def _by_program(self, at_us: int, edges: list[Edge], allowed: bool, program: object) -> None:
        if allowed and not self._allowed and self._program == "running" and self.open is None and not edges:
            self._start(at_us, at_us, partial=True)
        if self._program is None:
            # what led up to the state found at first sight happened out of sight, at other times
            edges = edges[-1:]
        for state, raw_us in edges:
            before, self._program = self._program, state
            if state in ("running", "interrupted"):
                if self.open is not None and before == "interrupted" and self._is_another(program):
                    self._end_run(at_us, ABORTED)
                if self.open is None:
                    self._run(at_us, raw_us, before, allowed)
            elif self.open is not None:
                given_up = state == "aborted" or (state == "ready" and before == "interrupted")
                self._end_run(at_us, ABORTED if given_up else COMPLETE)

    def _is_another(self, program: object) -> bool:
        """Another program than that of the open cycle."""
        assert self.open is not None
        return bool(program and self.open.program) and str(program) != self.open.program

    def _end_run(self, at_us: int, outcome: str) -> None:
        """The program ended; the counter may have stepped for it already, or owes a step at most."""
        self._ahead = 0 if self._ahead > 0 or outcome == ABORTED else -1
        self._close(at_us, outcome)
        self._cut_us = None

    def _by_loop(self, at_us: int, added: int, seen: bool) -> None:
        """cycle_count stepped; the second step in one run cuts it, and so does each that follows."""
        self._ahead += added
        if self.open is None:
            self._ahead = min(self._ahead, 0)
        elif self._ahead > 1:
            exact = self._cut_us is not None and seen and added == 1
            self._close(at_us, COMPLETE if exact else PARTIAL, cut=True)
            self._start(at_us, at_us, partial=not seen)
            self._ahead, self._cut_us = 1, at_us

    @property
    def shown_us(self) -> int | None:
        """From when on the open cycle is told, None without one: what may yet be a rest is not told."""
        if self.open is None:
            return None
        return self.open.start_us + (REST_US if self.open.start_us == self._cut_us else 0)

    def _run(self, at_us: int, raw_us: int, before: object, allowed: bool) -> None:
        """The program runs or is interrupted, and no cycle is open."""
        if self._program == "running" and self._same_run(raw_us):
            self._resume(at_us)
        elif allowed and (before is None or (self._program == "running" and before != "running")):
            self._start(at_us, raw_us, partial=before is None)

    def _by_count(self, at_us: int, edges: list[Edge], going: bool) -> None:
        for exact, _ in edges:
            if self.open is not None:
                self._close(at_us, COMPLETE if exact else PARTIAL)
                if going:
                    self._start(at_us, at_us, partial=not exact)

    def _by_executing(self, at_us: int, executing: bool | None, allowed: bool) -> None:
        before, self._executing = self._executing, executing
        if self.bounds == "executing" and executing is False and self.open is not None:
            self._close(at_us, COMPLETE if before else PARTIAL)
        if executing and allowed and self.open is None and not (before and self._allowed):
            self._start(at_us, at_us, partial=before is not False)

    def _start(self, at_us: int, raw_us: int, partial: bool) -> None:
        self.suspended = None
        self.open = CycleRecord(self._machine, at_us, raw_us, partial, at_us, at_us)

    def _close(self, at_us: int, outcome: str, cut: bool = False) -> None:
        cycle, shown_us = self.open, self.shown_us
        assert cycle is not None and shown_us is not None
        self.open = None
        if at_us <= (cycle.start_us if cut else shown_us):
            return
        cycle.advance(at_us)
        cycle.end_us = at_us
        cycle.finished = outcome == COMPLETE
        cycle.outcome = PARTIAL if cycle.partial else outcome
        self.last, self._severed = cycle, False
        if self._keeps:
            self.kept = [*self.kept[1 - KEPT :], cycle]
        self.touch(cycle)

    def touch(self, cycle: CycleRecord) -> None:
        """A closed cycle is to be told, or told again."""
        if cycle.end_us is not None and not any(c is cycle for c in self.touched):
            self.touched.append(cycle)

    def lose(self, at_us: int) -> None:
        """The connection is lost: an open cycle ends here, unless the same run is met again afterwards."""
        cycle = self.open
        if cycle is not None:
            self._close(at_us, PARTIAL)
            self.suspended = cycle if cycle.end_us is not None else None
        self._program = None
        self._executing = None
        self._severed = True
        self._ahead, self._cut_us = 0, None

    def _same_run(self, raw_us: int) -> bool:
        """The server still names the moment at which this very run began: it went on through the gap."""
        cycle = self.suspended
        return cycle is not None and not cycle.partial and cycle.start_raw_us == raw_us

    def _resume(self, at_us: int) -> None:
        cycle = self.suspended
        assert cycle is not None
        cycle.end_us, cycle.outcome = None, RUNNING
        cycle.standstill = None
        cycle.turn(cycle.mark_us, STEP_INDEX[OTHER], "", None, unseen=True)
        cycle.advance(at_us)
        self.open, self.suspended, self.last = cycle, None, None
        self.kept = [c for c in self.kept if c is not cycle]

    def at(self, at_us: int) -> CycleRecord | None:
        """The cycle that something told at this instant belongs to: begun before it, open or just closed."""
        if self.open is not None and self.open.start_us < at_us:
            return self.open
        return None if self._severed else self.last

    def spanning(self, begin_us: int, end_us: int) -> CycleRecord | None:
        """The cycle, open or waiting for its energy, that holds all of a piece of time."""
        if self.open is not None and self.open.start_us <= begin_us:
            return self.open
        for cycle in self.kept:
            if cycle.start_us <= begin_us and end_us <= (cycle.end_us or 0):
                return cycle
        return None

    def take_touched(self) -> list[CycleRecord]:
        """Closed cycles to tell since the last call."""
        touched, self.touched = self.touched, []
        return touched

    def save(self) -> list[object]:
        """State as plain data: each cycle once, then who is who by place."""
        known: list[CycleRecord] = []
        for cycle in (self.open, self.last, self.suspended, *self.kept):
            if cycle is not None and not any(c is cycle for c in known):
                known.append(cycle)
        place = {id(cycle): n for n, cycle in enumerate(known)}
        roles = [None if c is None else place[id(c)] for c in (self.open, self.last, self.suspended)]
        kept = [place[id(cycle)] for cycle in self.kept]
        flags = [self._program, self._executing, self._allowed, self._severed, self._ahead, self._cut_us]
        return [[cycle.save() for cycle in known], roles, kept, flags]

    def load(self, state: list[Any]) -> None:
        """The reverse of save."""
        records, roles, kept, flags = state
        known = [CycleRecord.load_state(record) for record in records]
        self.open, self.last, self.suspended = (None if n is None else known[n] for n in roles)
        self.kept = [known[n] for n in kept]
        self._program, self._executing, self._allowed, self._severed, *loop = flags
        self._ahead, self._cut_us = loop or (0, None)
