"""Runs the alert rules over what was just stored and keeps the alerts that they change.

A machine is looked at when a cycle or a tool's life ended, and once a minute; few machines at a time, for storing
readings must not wait for long. Rules that read much are run seldom, for one machine at a time.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from swarfline.alerts import Alert, Sighting
from swarfline.collect.machine_looks import QUICK, SELDOM, SLOW, MachineView, Seen
from swarfline.collect.plant_looks import OF_PLANT, OF_SERVERS, PlantView
from swarfline.collect.telling import NO_OTHERS, Telling, Tongues
from swarfline.facts import Cycle, Fact, LimitChange, ToolLife
from swarfline.outlook import plant_now_us
from swarfline.plant import Plant
from swarfline.plant.alerts import RuleTable
from swarfline.store import Batch, Store
from swarfline.watch.holding import Holding
from swarfline.watch.judge import Changes, judge

EVERY_US = 60_000_000
"""Each machine is looked at so often, whether something happened or not: limits also come nearer by the clock."""
SLOWLY_US, SELDOM_US = 300_000_000, 1_800_000_000
"""The rules that read more are run so often for each machine."""
AT_ONCE = 5
"""Machines per look: storing readings must not wait for long. Of those for the rules that read more, one."""
AGAIN_US = 1_000_000
"""A machine in which much happens is not looked at more often than this."""
SERVERS_US = 5_000_000
"""The servers' states are looked at so often."""

log = logging.getLogger("swarfline.watch")

Looks = Mapping[str, Callable[[Any], Iterator[Seen]]]


@dataclass(slots=True)
class _Round:
    """Rules that are run for every machine in turn, and the machines that are due for them."""

    looks: Looks
    every_us: int
    at_once: int
    due: set[str]
    begun_us: int

    def begin(self, machines: Iterable[str], clock_us: int) -> bool:
        """Put all on the list when it is time; whether it was. A clock that was set back brings a round too."""
        if 0 <= clock_us - self.begun_us < self.every_us:
            return False
        self.begun_us = clock_us
        self.due |= set(machines)
        return True


class Watching:
    """What is due for a look, and the look itself. Times of the schedule are by our own clock."""

    def __init__(
        self, plant: Plant, store: Store, clock_us: Callable[[], int], tongues: Tongues = NO_OTHERS
    ) -> None:
        self._plant = plant
        self._store = store
        self._queries = store.queries
        self._calendar = plant.calendar()
        self._clock_us = clock_us
        self._telling = Telling(plant, clock_us, tongues)
        self._machines = {machine.id: machine for machine in plant.machines}
        self._on = {name for name in (*QUICK, *SLOW, *SELDOM, *OF_SERVERS, *OF_PLANT) if _is_on(plant, name)}
        self._holding = Holding()
        self._troubles: dict[tuple[str, str], str] = {}
        self._connected: dict[str, int] = {}
        self._looked: dict[str, int] = {}
        self._begun_us = clock_us()
        self._again_within_us = round(plant.alerts.again_within_min * 60_000_000)
        self._rounds = [
            _Round(looks, every_us, at_once, set(self._machines), self._begun_us)
            for looks, every_us, at_once in (
                (QUICK, EVERY_US, AT_ONCE),
                (SLOW, SLOWLY_US, 1),
                (SELDOM, SELDOM_US, 1),
            )
        ]
        self._servers_us: int | None = None
        self._plant_due = True

    def note(self, facts: Iterable[Fact]) -> None:
        """Facts were stored: machines that ended a cycle or a tool's life, or changed a limit, are due."""
        for fact in facts:
            if isinstance(fact, LimitChange) or (isinstance(fact, Cycle | ToolLife) and not fact.open):
                self._rounds[0].due.add(fact.machine)

    def look(self) -> Batch | None:
        """The changes of alerts to be stored, None when nothing changes."""
        clock_us = self._clock_us()
        servers_due = self._schedule(clock_us)
        chosen = [(each, self._choose(each, clock_us)) for each in self._rounds]
        machines = sorted({machine for _, some in chosen for machine in some})
        if not (servers_due or machines):
            return None
        now_us = plant_now_us(self._plant, self._queries, self._clock_us)
        known = self._queries.known_alerts(now_us, self._again_within_us)
        standing = [alert for alert in known if alert.stands]
        seen = list(self._see_plant(standing, now_us)) if servers_due else []
        for machine in machines:
            looks = {rule: look for each, some in chosen if machine in some for rule, look in each.looks.items()}
            seen += self._see_machine(machine, looks, standing, now_us)
        changes = judge(known, seen, now_us, self._again_within_us)
        self._done(chosen, servers_due, clock_us)
        batch = _batch(changes, [a for a in standing if a.machine and a.machine not in self._machines], now_us)
        return self._telling.with_messages(batch, known, now_us)

    def _schedule(self, clock_us: int) -> bool:
        """Put on the lists what the clock makes due; whether the servers are."""
        begun = [each.begin(self._machines, clock_us) for each in self._rounds]
        self._plant_due = self._plant_due or begun[0]
        return self._servers_us is None or not 0 <= clock_us - self._servers_us < SERVERS_US

    def _choose(self, each: _Round, clock_us: int) -> list[str]:
        looked = ((m, self._looked.get(m)) for m in sorted(each.due))
        return [m for m, us in looked if us is None or not 0 <= clock_us - us < AGAIN_US][: each.at_once]

    def _done(self, chosen: Iterable[tuple[_Round, list[str]]], servers: bool, clock_us: int) -> None:
        """What was looked at is off the lists; not before, for a look that failed is made again."""
        for each, some in chosen:
            each.due.difference_update(some)
            if each is self._rounds[0]:
                self._looked.update(dict.fromkeys(some, clock_us))
        if servers:
            self._servers_us, self._plant_due = clock_us, False

    def _see_plant(self, standing: Sequence[Alert], now_us: int) -> Iterator[Sighting]:
        view = PlantView(self._plant, self._queries, now_us, standing, self._store.free_bytes())
        self._connected = view.connected
        looks = {**OF_SERVERS, **(OF_PLANT if self._plant_due else {})}
        return self._see(looks, "", view, standing, now_us)

    def _see_machine(
        self, machine: str, looks: Looks, standing: Sequence[Alert], now_us: int
    ) -> Iterator[Sighting]:
        connected_us = self._connected.get(self._plant.server_of(machine).id)
        view = MachineView(
            self._plant, self._queries, self._calendar, self._machines[machine], now_us, connected_us,
            self._begun_us,
        )  # fmt: skip
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
    changed = [*changes.changed, *gone]
    return Batch(raised=changes.raised, changed=changed) if changes.raised or changed else None
