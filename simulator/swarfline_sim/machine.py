"""A simulated machine: an exact event generator, seeded, without a clock.

The same spec, seed and start give the same stream, however far and in whatever pieces it is advanced.
"""

from __future__ import annotations

from typing import NamedTuple

from swarfline_sim import pauses
from swarfline_sim.bench import Bench
from swarfline_sim.cycle import Cycle
from swarfline_sim.events import MINUTE_US, Event, Value
from swarfline_sim.ledger import QUARTER_US, WH, Ledger, Record
from swarfline_sim.planning import ATTENDED, CLOSED, UNATTENDED
from swarfline_sim.spec import MachineSpec

_METERED = ("program_state", "state")
"""Before these change, the energy counter is told."""


class Batch(NamedTuple):
    """What happened in a piece of time: events in time order, and the truth that became known."""

    events: list[Event]
    truth: list[Record]


class Machine:
    """One machine from ``start_us`` on. ``energy_every_us``: the energy counter is told at least that often."""

    def __init__(self, spec: MachineSpec, seed: int, start_us: int, energy_every_us: int = QUARTER_US) -> None:
        self.spec = spec
        self.now_us = start_us
        self._bench = Bench(spec, seed, start_us)
        self._ledger = Ledger(spec.name, start_us, spec.first_energy_wh * WH)
        self._every_us = energy_every_us
        self._energy_us = start_us
        self._energy_value: Value = -1.0
        self._next = 0
        self._next_record = 0
        self._prepared_us = 0

    def advance(self, until_us: int) -> Batch:
        """All events before ``until_us`` that were not given out yet."""
        out: list[Event] = []
        while True:
            self._let_out(until_us, out)
            if self._bench.t_us >= until_us:
                break
            self._next = 0
            self._bench.out.events = []
            self._block()
        if until_us > self.now_us:
            self._tick(until_us - 1, out)
            self._ledger.advance(until_us - 1)
            self.now_us = until_us
        return Batch(out, self._truth(until_us))

    def tell_energy_every(self, every_us: int) -> None:
        """From now on the energy counter is told at least that often."""
        self._every_us = every_us
        self._energy_us = min(self._energy_us, self.now_us - self.now_us % every_us + every_us)

    def finish(self) -> list[Record]:
        """The truth that is still open, up to the time reached, and the totals. The machine ends with it."""
        return self._ledger.finish(self.now_us)

    def _truth(self, until_us: int) -> list[Record]:
        """Truth that became known before ``until_us``, in order of its end."""
        bench, found = self._bench, self._ledger.records
        self._ledger.records = []
        taken = 0
        for at_us, record in bench.records:
            if at_us >= until_us:
                break
            taken += 1
            found.append(record)
            if record["kind"] == "cycle":
                self._ledger.cycle_done(str(record["outcome"]))
        del bench.records[:taken]
        found.sort(key=_end)
        return found

    def _let_out(self, until_us: int, out: list[Event]) -> None:
        """Move worked-out events before ``until_us`` to ``out``, with energy readings in between."""
        events, handlers = self._bench.out.events, self._ledger.handlers
        at = self._next
        for at in range(self._next, len(events)):
            event = events[at]
            t_us, _, signal, _ = event
            if t_us >= until_us:
                self._next = at
                return
            if t_us >= self._energy_us:
                self._tick(t_us, out)
            if signal in _METERED:
                self._tell_energy(t_us, out)
            out.append(event)
            if signal in handlers:
                handlers[signal](event)
        self._next = len(events)

    def _tick(self, t_us: int, out: list[Event]) -> None:
        """Energy readings that are due up to ``t_us``."""
        while self._energy_us <= t_us:
            self._tell_energy(self._energy_us, out)
            self._energy_us += self._every_us - self._energy_us % self._every_us

    def _tell_energy(self, t_us: int, out: list[Event]) -> None:
        value = self._ledger.integrate(t_us) / WH
        if value != self._energy_value:
            self._energy_value = value
            out.append(Event(t_us, self.spec.name, "energy", value))

    def _block(self) -> None:
        """Work out the next piece of the machine's life."""
        bench = self._bench
        span = bench.spec.plan.at(bench.t_us)
        if span.kind == CLOSED:
            pauses.close(bench, span)
        elif bench.cold:
            pauses.warm_up(bench)
        elif not (pauses.rest_in_break(bench, span) or self._prepare() or pauses.serve_tools(bench)):
            if bench.lot_left <= 0:
                pauses.next_lot(bench)
            else:
                self._produce()

    def _produce(self) -> None:
        bench = self._bench
        pauses.maybe_fault(bench)
        pauses.wait_for_loader(bench)
        if bench.spec.plan.at(bench.t_us).kind != CLOSED:
            Cycle(bench).run()

    def _prepare(self) -> bool:
        """Shortly before people leave, once: see to the tools."""
        bench = self._bench
        span = bench.spec.plan.at(bench.t_us)
        near = span.kind == ATTENDED and span.end_us - bench.t_us < 25 * MINUTE_US
        if not near or self._prepared_us == span.end_us or bench.spec.plan.at(span.end_us).kind != UNATTENDED:
            return False
        self._prepared_us = span.end_us
        pauses.prepare_absence(bench, span)
        return True


def _end(record: Record) -> int:
    value = record["end_us"]
    assert isinstance(value, int)
    return value
