"""Tallies kept up: the days that are over, one after another, beside the writing of facts.

A day is tallied when no condition that reaches into it goes on any more. Facts that come later all the same throw
its tally away as they are written; it is made anew when the service starts the next time.
"""

from __future__ import annotations

import hashlib
from collections.abc import Collection

from swarfline.calendar import Calendar, Interval
from swarfline.facts import Condition, Count
from swarfline.measure.tallying import tally
from swarfline.plant import Plant
from swarfline.store import Queries, Store
from swarfline.tallies import Tally

VERSION = 1
"""Of what a tally holds; another one makes all of them anew."""
REST_US = 3_600_000_000
"""A day rests so long before it is tallied: what is told late would throw the tally away again."""


def made_by(calendar: Calendar, machine: str) -> str:
    """A name for all that a machine's tallies depend on but its facts: another name, other tallies."""
    shifts = [(s.start, s.end, sorted(s.days), s.breaks) for s in calendar.shifts if _is_for(s.machines, machine)]
    stops = sorted((s.start_us, s.end_us) for s in calendar.stops if s.covers(machine))
    told = (VERSION, calendar.zone.key, shifts, stops)
    return hashlib.sha256(repr(told).encode()).hexdigest()[:16]


def _is_for(machines: Collection[str], machine: str) -> bool:
    return not machines or machine in machines


def may_tally(plant: Plant, machine: str) -> bool:
    """Whether a machine counts its parts itself; of others a longer span decides how they are counted."""
    return "part_count" in plant.nodes_of(plant.machine(machine))


def tally_of(queries: Queries, calendar: Calendar, machine: str, day: Interval) -> Tally:
    """The tally of one day from its facts."""
    return tally(
        machine,
        day,
        made_by(calendar, machine),
        queries.facts(Condition, machine, *day),
        calendar.planned(machine, *day),
        queries.facts(Count, machine, *day),
    )


class Tallying:
    """Keeps the tallies of a plant up, a day at a time."""

    def __init__(self, plant: Plant, store: Store) -> None:
        self._store = store
        self._calendar = plant.calendar()
        self._machines = [m.id for m in plant.machines if may_tally(plant, m.id)]
        self._next: dict[str, int] = {}
        self._missing: dict[str, list[Interval]] = {}
        self._turn = 0

    def fill(self, machines: Collection[str] | None = None) -> int:
        """Tally every day that can be; how many days there were to tally."""
        wanted = self._machines if machines is None else [m for m in self._machines if m in machines]
        return sum(self._fill(machine) for machine in wanted)

    def _fill(self, machine: str) -> int:
        done = 0
        while self._tally_next(machine):
            done += 1
        return done

    def step(self) -> bool:
        """Tally one day of the machine whose turn it is; False when it had none."""
        if not self._machines:
            return False
        self._turn = (self._turn + 1) % len(self._machines)
        return self._tally_next(self._machines[self._turn])

    def _tally_next(self, machine: str) -> bool:
        waiting = self._missing.setdefault(machine, [])
        if not waiting:
            waiting += self._found(machine)
        if not waiting:
            return False
        self._tally(machine, waiting[0])
        waiting.pop(0)
        return True

    def _found(self, machine: str) -> list[Interval]:
        """The days since the last look that are over and have no tally."""
        queries = self._store.queries
        known, settled = queries.bounds(machine), queries.settled_us(machine)
        if known is None or settled is None:
            return []
        begin = self._next.get(machine, known[0])
        if begin >= settled - REST_US:
            return []
        days = [self._calendar.day_span(day) for day, _ in self._calendar.days(begin, settled - REST_US)]
        over = [day for day in days if begin <= day[0] and day[1] <= settled - REST_US]
        if over:
            self._next[machine] = over[-1][1]
        name = made_by(self._calendar, machine)
        there = {t.start_us for t in queries.tallies(machine, begin, settled, name)}
        return [day for day in over if day[0] not in there]

    def _tally(self, machine: str, day: Interval) -> None:
        # nobody else writes meanwhile, so what is read and what is kept belong together
        with self._store.exchanging() as alone:
            alone.keep(tally_of(self._store.queries, self._calendar, machine, day))
