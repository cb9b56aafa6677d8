"""The one entry of interpretation: readings of any machines in, facts out.

The same readings in the same order give the same facts, however they are sliced and whenever the fold is
saved and restored in between.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

from swarfline.facts import Fact
from swarfline.interpret.machine import MachineFold
from swarfline.interpret.order import NEVER
from swarfline.interpret.settings import MachineSettings
from swarfline.signals import Reading


@dataclass(slots=True)
class Fed:
    """What feeding a batch gave: final facts, places in the batch of late readings, machines that moved.

    ``repeated`` are places of readings that came before, now read again from a history. ``retracted`` are facts
    told before that are no more, since what they told was read back: to be taken away before ``facts`` are kept.
    """

    facts: list[Fact] = field(default_factory=list)
    retracted: list[Fact] = field(default_factory=list)
    late: list[int] = field(default_factory=list)
    repeated: list[int] = field(default_factory=list)
    touched: set[str] = field(default_factory=set)


class Fold:
    """Interprets all machines of a plant. Readings of machines it was not told of are ignored."""

    def __init__(self, settings: Iterable[MachineSettings]) -> None:
        self._machines = {s.machine: MachineFold(s) for s in settings}

    def feed(self, batch: Sequence[Reading]) -> Fed:
        """Take readings in the order in which they arrived."""
        fed = Fed()
        machines = self._machines
        for place, reading in enumerate(batch):
            name = reading[0]
            machine = machines.get(name)
            if machine is None:
                continue
            if not machine.order.put(reading):
                (fed.late if machine.order.known is None else fed.repeated).append(place)
            fed.touched.add(name)
        for name in sorted(fed.touched):
            machine = machines[name]
            fed.retracted += machine.take_retracted()
            fed.facts += machine.take(machine.order.release())
        return fed

    def flush(self) -> list[Fact]:
        """Everything still waiting in the reorder windows, as final: for the end of a closed span."""
        return [f for m in self._machines.values() for f in m.take(m.order.flush())]

    def open_facts(self, machines: Iterable[str] | None = None) -> list[Fact]:
        """What is still going on, as far as observed; ``machines`` None means all."""
        names = self._machines if machines is None else sorted(machines)
        return [f for name in names for f in self._machines[name].open_facts()]

    def newest_us(self, machine: str) -> int | None:
        """The newest time that a machine has told, None before its first reading."""
        newest = self._machines[machine].order.newest_us
        return None if newest == NEVER else newest

    def signals(self, machine: str) -> frozenset[str]:
        """All signals that a machine has told since its last return, whether or not their values are known."""
        return self._machines[machine].signals()

    def offset_us(self, machine: str) -> int:
        """What is taken from a machine's source times: its server's clock minus ours, 0 within the tolerance."""
        return self._machines[machine].order.offset_us

    def snapshot(self, machine: str) -> dict[str, object]:
        """The present picture of one machine, as plain data."""
        return self._machines[machine].snapshot()

    def save(self, machine: str) -> dict[str, object]:
        """Checkpoint of one machine as plain data (JSON)."""
        return self._machines[machine].save()

    def load(self, machine: str, state: dict[str, Any]) -> None:
        """Go on from a checkpoint."""
        self._machines[machine].load(state)
