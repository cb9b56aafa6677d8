"""Where cycles begin and end.

House rules: at most one cycle is open; the last closed one may still be amended (parts, tool life and energy
that are told after its end) until the next one starts. Edges of one instant are taken in the order in which
they came, with the values that hold at the end of the instant.

| bound | starts | ends |
| --- | --- | --- |
| program_state | turns running | ended or ready: complete; aborted: aborted |
| cycle_count, part_count | executing, or the step before | step of the counter: complete |
| executing | turns executing | no longer executing: complete |
| any | | mode leaves automatic, or power lost: aborted; connection lost: partial |
"""

from __future__ import annotations

from collections.abc import Mapping

from swarfline.facts import ABORTED, COMPLETE, OTHER, PARTIAL, RUNNING
from swarfline.interpret.conditions import state_of
from swarfline.interpret.record import CycleRecord
from swarfline.interpret.steps import STEP_INDEX

Edge = tuple[str, object, int]
"""(signal, value or what a counter stepped by, raw source time)"""


class Cycles:
    """The open and the last cycle of one machine; ``touched`` are closed ones to tell (again)."""

    __slots__ = (
        "_allowed",
        "_executing",
        "_machine",
        "_program",
        "bounds",
        "last",
        "open",
        "suspended",
        "touched",
    )

    def __init__(self, machine: str, bounds: str) -> None:
        self._machine = machine
        self.bounds = bounds
        self.open: CycleRecord | None = None
        self.last: CycleRecord | None = None
        self.suspended: CycleRecord | None = None
        self.touched: list[CycleRecord] = []
        self._program: object = None
        self._executing: bool | None = None
        self._allowed = False

    def settle(self, at_us: int, edges: list[Edge], values: Mapping[str, object], mode_offered: bool) -> None:
        """Take in what happened at one instant of an observed machine."""
        mode = values.get("mode")
        allowed = not mode_offered or mode in (None, "automatic")
        if self.open is not None and (not allowed or state_of(values) == "not_available"):
            self._close(at_us, ABORTED)
        if self.bounds == "program_state":
            self._by_program(at_us, edges, allowed)
        else:
            self._by_step(at_us, edges, values, allowed)
        self._allowed = allowed

    def _by_program(self, at_us: int, edges: list[Edge], allowed: bool) -> None:
        known = self._program is not None
        if allowed and not self._allowed and self._program == "running" and self.open is None and not edges:
            self._start(at_us, at_us, partial=True)
        for _, state, raw_us in edges:
            before, self._program = self._program, state
            if state == "running":
                if self.open is None and self.suspended is not None and self._same_run(raw_us):
                    self._resume(at_us)
                elif self.open is None and allowed and before != "running":
                    self._start(at_us, raw_us, partial=not known)
            elif state == "interrupted":
                if self.open is None and allowed and not known:
                    self._start(at_us, raw_us, partial=True)
            elif self.open is not None:
                self._close(at_us, ABORTED if state == "aborted" else COMPLETE)
            known = True

    def _by_step(self, at_us: int, edges: list[Edge], values: Mapping[str, object], allowed: bool) -> None:
        state = state_of(values)
        executing = None if state is None else state == "executing"
        for _, quantity, _ in edges:
            if isinstance(quantity, int | float) and quantity > 0 and self.open is not None:
                self._close(at_us, COMPLETE)
                if executing and allowed:
                    self._start(at_us, at_us, partial=False)
        known, rising = self._executing is not None, executing and not self._executing
        falling = self._executing and executing is False
        self._executing = executing
        if self.bounds == "executing" and falling and self.open is not None:
            self._close(at_us, COMPLETE)
        if executing and allowed and self.open is None and (rising or not self._allowed):
            self._start(at_us, at_us, partial=not known)

    def _start(self, at_us: int, raw_us: int, partial: bool) -> None:
        self.suspended = None
        self.open = CycleRecord(self._machine, at_us, raw_us, partial, at_us)

    def _close(self, at_us: int, outcome: str) -> None:
        cycle = self.open
        assert cycle is not None
        self.open = None
        if at_us <= cycle.start_us:
            return
        cycle.advance(at_us)
        cycle.end_us = at_us
        cycle.outcome = PARTIAL if cycle.partial else outcome
        self.last = cycle
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
            cycle.outcome = PARTIAL
            self.suspended = cycle if cycle.end_us is not None else None
        self._program = None
        self._executing = None

    def _same_run(self, raw_us: int) -> bool:
        """The server still names the moment at which this very run began: it went on through the gap."""
        cycle = self.suspended
        return cycle is not None and not cycle.partial and cycle.start_raw_us == raw_us

    def _resume(self, at_us: int) -> None:
        cycle = self.suspended
        assert cycle is not None
        cycle.end_us, cycle.outcome = None, RUNNING
        cycle.turn(cycle.mark_us, STEP_INDEX[OTHER], "", None)
        cycle.advance(at_us)
        self.open, self.suspended, self.last = cycle, None, None

    def at(self, at_us: int) -> CycleRecord | None:
        """The cycle that something told at this instant belongs to: begun before it, open or just closed."""
        if self.open is not None and self.open.start_us < at_us:
            return self.open
        return self.last if self.open is None or self.open.start_us == at_us else None

    def take_touched(self) -> list[CycleRecord]:
        """Closed cycles to tell since the last call."""
        touched, self.touched = self.touched, []
        return touched

    def save(self) -> list[object]:
        """State as plain data."""
        records = [c.save() if c else None for c in (self.open, self.last, self.suspended)]
        return [*records, self._program, self._executing, self._allowed]

    def load(self, state: list[object]) -> None:
        """The reverse of save; a suspended cycle and the last one stay one and the same."""
        opened, last, suspended, self._program, self._executing, self._allowed = state  # type: ignore[assignment]
        self.open = CycleRecord.load_state(opened) if opened else None  # type: ignore[arg-type]
        self.last = CycleRecord.load_state(last) if last else None  # type: ignore[arg-type]
        self.suspended = CycleRecord.load_state(suspended) if suspended else None  # type: ignore[arg-type]
        if self.last and self.suspended and self.last.start_us == self.suspended.start_us:
            self.suspended = self.last
