"""From readings to the store: what live operation, the import of a history and benchmarks have in common.

Two steps, so that a commit that failed can be repeated: ``take`` interprets readings into a batch, ``commit``
stores it, everything or nothing.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from swarfline.collect.settings import machine_settings
from swarfline.connect import Before
from swarfline.interpret.fold import Fed, Fold
from swarfline.plant import Plant
from swarfline.signals import LINK, LINK_LOST, Reading
from swarfline.store import Batch, Store


class Pipeline:
    """The fold of a plant's machines, gone on with from the store's checkpoints, and the one writer."""

    def __init__(self, plant: Plant, store: Store) -> None:
        self._fold = Fold(machine_settings(plant))
        self._plant = plant
        self._queries = store.queries
        self._writer = store.writer()
        self.machines = tuple(machine.id for machine in plant.machines)
        known = set(self.machines)
        for machine, state in store.checkpoints().items():
            if machine in known:
                self._fold.load(machine, state)

    def losses(self, now_us: int) -> list[Reading]:
        """What to tell first after a start: every machine was lost at the newest time it had told."""
        told = {machine: self._fold.newest_us(machine) for machine in self.machines}
        return [Reading(m, LINK, us, now_us, LINK_LOST) for m, us in told.items() if us is not None]

    def before(self) -> dict[str, Before]:
        """How each machine stands in the store, for the connections of a new run."""
        told = {machine: self._fold.newest_us(machine) for machine in self.machines}
        return {
            machine: Before(
                us, self._heard_us(machine, us), 0, self._fold.signals(machine), self._fold.offset_us(machine)
            )
            for machine, us in told.items()
            if us is not None
        }

    def _heard_us(self, machine: str, newest_us: int) -> int:
        """When the machine's server was last heard of, by our clock; 0 where only its own clock was told."""
        if self._plant.server_of(machine).clock == "ours":
            return newest_us
        shown = self._queries.now(machine) or {}
        return int(shown.get("received_us") or 0) if shown.get("linked") else 0

    def take(
        self, readings: Sequence[Reading], now_us: int, servers: Mapping[str, dict[str, Any]] | None = None
    ) -> Batch:
        """Interpret ``readings``; the result is to be committed before anything more is taken.

        ``now_us`` is our own clock; ``servers`` are states of connections to be stored along.
        """
        fold = self._fold
        fed = fold.feed(readings)
        kept, late = _without_repetitions(readings, fed)
        return Batch(
            readings=kept,
            late=late,
            retracted=fed.retracted,
            facts=[*fed.facts, *fold.open_facts(fed.touched)],
            checkpoints={machine: fold.save(machine) for machine in fed.touched},
            now={machine: {**fold.snapshot(machine), "received_us": now_us} for machine in fed.touched},
            servers=servers or {},
            seen_us=now_us,
        )

    def take_past(self, readings: Sequence[Reading], last: bool) -> Batch:
        """Interpret a piece of a history; what is still open is told with the ``last`` piece only.

        A history that breaks off before its last piece is not gone on with: no checkpoint is kept before.
        """
        fold = self._fold
        fed = fold.feed(readings)
        if not last:
            return Batch(readings=readings, late=fed.late, facts=fed.facts)
        told = [machine for machine in self.machines if fold.newest_us(machine) is not None]
        return Batch(
            readings=readings,
            late=fed.late,
            facts=[*fed.facts, *fold.open_facts(told)],
            checkpoints={machine: fold.save(machine) for machine in told},
            now={m: {**fold.snapshot(m), "received_us": fold.newest_us(m)} for m in told},
        )

    def commit(self, batch: Batch) -> None:
        """Store a batch; raises the database's error with nothing stored, and may then be called again."""
        self._writer.commit(batch)


def _without_repetitions(readings: Sequence[Reading], fed: Fed) -> tuple[Sequence[Reading], list[int]]:
    """What the journal is to keep, and the places of late readings in it: what came before is kept already."""
    if not fed.repeated:
        return readings, fed.late
    repeated, late = set(fed.repeated), set(fed.late)
    places = [place for place in range(len(readings)) if place not in repeated]
    return [readings[place] for place in places], [n for n, place in enumerate(places) if place in late]
