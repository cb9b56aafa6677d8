"""Runs the alert rules over what was just stored and keeps the alerts that they change.

A machine is looked at when its cycles, tools or conditions moved on, and once a minute; few machines at a time,
for storing readings must not wait for long. Rules that read much are run seldom, for one machine at a time.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any

from swarfline.alerts import Alert, Sighting
from swarfline.collect.machine_looks import QUICK, SLOW, MachineView, Seen
from swarfline.collect.plant_looks import OF_PLANT, OF_SERVERS, PlantView
from swarfline.facts import Condition, Cycle, Fact, LimitChange, ToolLife
from swarfline.outlook import plant_now_us
from swarfline.plant import Plant
from swarfline.plant.alerts import RuleTable
from swarfline.store import Batch, Store
from swarfline.watch.holding import Holding
from swarfline.watch.judge import Changes, judge

EVERY_US = 60_000_000
"""Each machine is looked at so often, whether something happened or not: limits also come nearer by the clock."""
AT_ONCE = 5
"""Machines per look: storing readings must not wait for long."""
AGAIN_US = 1_000_000
"""A machine in which much happens is not looked at more often than this."""
SLOWLY_US = 300_000_000
"""The rules that read much are run so often for each machine."""
SERVERS_US = 5_000_000
"""The servers' states are looked at so often."""
MOST_STANDING = 100_000
"""More alerts than this never stand; they are all read, for each is judged."""

log = logging.getLogger("swarfline.watch")

Looks = Mapping[str, Callable[[Any], Iterator[Seen]]]


class Watching:
    """What is due for a look, and the look itself. Times of the schedule are by our own clock."""

    def __init__(self, plant: Plant, store: Store, clock_us: Callable[[], int]) -> None:
        self._plant = plant
        self._store = store
        self._queries = store.queries
        self._calendar = plant.calendar()
        self._clock_us = clock_us
        self._machines = {machine.id: machine for machine in plant.machines}
        self._on = {name for name in (*QUICK, *SLOW, *OF_SERVERS, *OF_PLANT) if _is_on(plant, name)}
        self._holding = Holding()
        self._troubles: dict[tuple[str, str], str] = {}
        self._connected: dict[str, int] = {}
        self._looked: dict[str, int] = {}
        self._begun_us = clock_us()
        self._due, self._slowly_due = set(self._machines), set(self._machines)
        self._rounds = dict.fromkeys((EVERY_US, SLOWLY_US), self._begun_us)
        self._servers_us: int | None = None
        self._plant_due = True

    def note(self, facts: Iterable[Fact]) -> None:
        """Facts were stored: machines whose cycles, tools or conditions moved on are due."""
        for fact in facts:
            if isinstance(fact, ToolLife | LimitChange) or (isinstance(fact, Cycle | Condition) and not fact.open):
                self._due.add(fact.machine)

    def look(self) -> Batch | None:
        """The changes of alerts to be stored, None when nothing changes."""
        clock_us = self._clock_us()
        servers_due = self._schedule(clock_us)
        chosen = self._choose(clock_us)
        slow = min(self._slowly_due, default=None)
        if not (servers_due or chosen or slow):
            return None
        standing = self._queries.alerts(standing=True, limit=MOST_STANDING)
        now_us = plant_now_us(self._plant, self._queries, self._clock_us)
        seen: list[Sighting] = []
        if servers_due:
            seen += self._see_plant(standing, now_us)
        for machine in sorted({*chosen, slow} if slow else chosen):
            seen += self._see_machine(machine, machine in chosen, machine == slow, standing, now_us)
        changes = judge(standing, seen, now_us)
        self._done(chosen, slow, servers_due, clock_us)
        return _batch(changes, [a for a in standing if a.machine and a.machine not in self._machines], now_us)

    def _schedule(self, clock_us: int) -> bool:
        """Put on the list what the clock makes due; whether the servers are."""
        for every, due in ((EVERY_US, self._due), (SLOWLY_US, self._slowly_due)):
            # a clock that was set back brings a round too
            if not 0 <= clock_us - self._rounds[every] < every:
                self._rounds[every] = clock_us
                due |= set(self._machines)
                self._plant_due = True
        return self._servers_us is None or not 0 <= clock_us - self._servers_us < SERVERS_US

    def _choose(self, clock_us: int) -> list[str]:
        looked = ((m, self._looked.get(m)) for m in sorted(self._due))
        return [m for m, us in looked if us is None or not 0 <= clock_us - us < AGAIN_US][:AT_ONCE]

    def _done(self, chosen: Iterable[str], slow: str | None, servers: bool, clock_us: int) -> None:
        """What was looked at is off the list; not before, for a look that failed is made again."""
        for machine in chosen:
            self._looked[machine] = clock_us
            self._due.discard(machine)
        if slow is not None:
            self._slowly_due.discard(slow)
        if servers:
            self._servers_us, self._plant_due = clock_us, False

    def _see_plant(self, standing: Sequence[Alert], now_us: int) -> Iterator[Sighting]:
        view = PlantView(self._plant, self._queries, now_us, standing, self._store.free_bytes())
        self._connected = view.connected
        looks = {**OF_SERVERS, **(OF_PLANT if self._plant_due else {})}
        return self._see(looks, "", view, standing, now_us)

    def _see_machine(
        self, machine: str, quickly: bool, slowly: bool, standing: Sequence[Alert], now_us: int
    ) -> Iterator[Sighting]:
        connected_us = self._connected.get(self._plant.server_of(machine).id)
        view = MachineView(
            self._plant, self._queries, self._calendar, self._machines[machine], now_us, connected_us,
            self._begun_us,
        )  # fmt: skip
        looks = {**(QUICK if quickly else {}), **(SLOW if slowly else {})}
        return self._see(looks, machine, view, standing, now_us)

    def _see(
        self, looks: Looks, machine: str, view: object, standing: Sequence[Alert], now_us: int
    ) -> Iterator[Sighting]:
        """What each rule sees; a rule that fails sees nothing, changes nothing, and keeps no other from seeing."""
        for rule, look in looks.items():
            try:
                found = [_as_set(one, table) for one, table in look(view)] if rule in self._on else []
            except Exception as problem:
                self._tell(rule, machine, problem)
                continue
            self._troubles.pop((rule, machine), None)
            mine = [alert for alert in standing if (alert.rule, alert.machine) == (rule, machine)]
            gone = {alert.subject for alert in mine} - {one.subject for one, _ in found}
            yield from self._holding.settled(rule, machine, found, now_us)
            yield from (Sighting(rule, machine, subject, active=False, clear=True) for subject in sorted(gone))

    def _tell(self, rule: str, machine: str, problem: Exception) -> None:
        """Log a rule's failure, but the same one only once."""
        told = f"{type(problem).__name__}: {str(problem).partition(chr(10))[0]}"
        if self._troubles.get((rule, machine)) != told:
            self._troubles[rule, machine] = told
            where = f"machine {machine}" if machine else "the plant"
            log.error("alert rule %s fails at %s; its alerts stay as they are", rule, where, exc_info=problem)


def _is_on(plant: Plant, rule: str) -> bool:
    """Whether a rule is on anywhere."""
    table: RuleTable = getattr(plant.alerts, rule)
    return any(one.enabled for one in plant.alerts.everywhere(type(table)))


def _as_set(sighting: Sighting, table: RuleTable) -> tuple[Sighting, float]:
    """What is seen with its severity and delay; where the rule is off, there is nothing."""
    if not table.enabled:
        sighting = replace(sighting, active=False, clear=True)
    return replace(sighting, severity=table.severity), table.delay_s


def _batch(changes: Changes, orphans: Iterable[Alert], now_us: int) -> Batch | None:
    """``orphans`` are alerts of machines that the plant no longer has: nothing would ever clear them."""
    gone = [replace(alert, cleared_us=now_us) for alert in orphans]
    changed = [*changes.cleared, *changes.updated, *gone]
    return Batch(raised=changes.raised, changed=changed) if changes.raised or changed else None
