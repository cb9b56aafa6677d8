"""Facts recomputed from the journal, while the service runs or not.

The whole journal is interpreted from its first reading on, by the plant file as it is now; readings that had come
too late then are sorted in where they belong. Facts that begin in the span asked for are exchanged where they
differ.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass, field
from heapq import heappop, heappush

from swarfline.collect import machine_settings
from swarfline.facts import Fact
from swarfline.interpret.fold import Fold
from swarfline.plant import Plant
from swarfline.signals import CLOCK_OFFSET, LINK, Reading
from swarfline.store import Arrival, Exchanged, Store
from swarfline.tallying import Tallying

ALWAYS_US = (-(2**62), 2**62)

Told = dict[str, dict[str, Exchanged]]
"""What became of the facts, by machine and kind."""


@dataclass(slots=True)
class _Again:
    """The journal interpreted anew: the facts so far, the latest of every key."""

    fold: Fold
    machines: frozenset[str]
    late: dict[str, list[tuple[int, int, Reading]]] = field(default_factory=dict)
    latest: dict[str, dict[object, Fact]] = field(default_factory=dict)
    number: int = -1

    def feed(self, arrived: Iterable[Arrival]) -> None:
        """Interpret the readings of one commit."""
        batch: list[Reading] = []
        for reading, late in arrived:
            if late or reading.machine not in self.machines:
                continue
            waiting = self.late.get(reading.machine)
            if waiting and reading.signal not in (LINK, CLOCK_OFFSET):
                while waiting and waiting[0][0] < reading.source_us:
                    batch.append(heappop(waiting)[2])
            batch.append(reading)
        fed = self.fold.feed(batch)
        for fact in fed.retracted:
            self.latest.get(fact.machine, {}).pop((fact.kind, fact.key), None)
        self._keep(fed.facts)

    def finish(self) -> None:
        """Nothing more comes: what is still open."""
        self._keep(self.fold.open_facts(self.machines))

    def _keep(self, facts: Iterable[Fact]) -> None:
        for fact in facts:
            self.latest.setdefault(fact.machine, {})[(fact.kind, fact.key)] = fact


def rebuild(
    plant: Plant,
    store: Store,
    machines: Collection[str],
    span: tuple[int, int] = ALWAYS_US,
    dry: bool = False,
) -> Told:
    """Exchange the facts of these machines that begin in ``span`` (µs UTC) for those that the journal gives.

    ``dry``: only say what would change. Raises the database's errors with nothing changed.
    """
    chosen = frozenset(machines)
    again = _Again(Fold(s for s in machine_settings(plant) if s.machine in chosen), chosen)
    again.late = _late(store, chosen)
    for number, arrived in store.arrivals():
        again.feed(arrived)
        again.number = number
    told = _exchanged(store, again, chosen, span, dry)
    if not dry:
        Tallying(plant, store).fill(sorted(chosen))
    return told


def _exchanged(store: Store, again: _Again, chosen: frozenset[str], span: tuple[int, int], dry: bool) -> Told:
    with store.exchanging() as alone:
        for _, arrived in alone.arrivals(again.number):
            again.feed(arrived)
        again.finish()
        return {m: alone.exchange(m, *span, again.latest.get(m, {}).values(), dry) for m in sorted(chosen)}


def _late(store: Store, machines: frozenset[str]) -> dict[str, list[tuple[int, int, Reading]]]:
    """By machine, readings that came too late, by source time and then by arrival."""
    found: dict[str, list[tuple[int, int, Reading]]] = {}
    place = 0
    for _, arrived in store.arrivals():
        for reading, late in arrived:
            if late and reading.machine in machines:
                place += 1
                heappush(found.setdefault(reading.machine, []), (reading.source_us, place, reading))
    return found
