"""Runs the alert rules over what was just stored and keeps the alerts that they change."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace

from swarfline.alerts import Alert, Sighting
from swarfline.facts import Cycle, Fact, LimitChange, ToolLife
from swarfline.outlook import machine_forecasts, plant_now_us
from swarfline.plant import Plant
from swarfline.store import Batch, Store
from swarfline.watch.judge import Changes, judge
from swarfline.watch.rules import tool_near_limit

EVERY_US = 60_000_000
"""Each machine is looked at so often, whether something happened or not: limits also come nearer by the clock."""
AT_ONCE = 5
"""Machines per look: storing readings must not wait for long."""


class Watching:
    """Which machines are due for a look, and the look itself."""

    def __init__(self, plant: Plant, store: Store, clock_us: Callable[[], int]) -> None:
        self._plant = plant
        self._queries = store.queries
        self._calendar = plant.calendar()
        self._clock_us = clock_us
        self._machines = frozenset(machine.id for machine in plant.machines)
        self._again_within_us = round(plant.alerts.again_within_min * 60_000_000)
        self._lead_us = round(plant.alerts.tool_lead_min * 60_000_000)
        self._due: set[str] = set(self._machines)
        self._all_us = clock_us()

    def note(self, facts: Iterable[Fact]) -> None:
        """Facts were stored: machines whose cycles or tools moved on are due."""
        for fact in facts:
            if isinstance(fact, ToolLife | LimitChange) or (isinstance(fact, Cycle) and not fact.open):
                self._due.add(fact.machine)

    def look(self) -> Batch | None:
        """The changes of alerts to be stored, None when nothing changes."""
        if not 0 <= self._clock_us() - self._all_us < EVERY_US:
            self._all_us = self._clock_us()
            self._due |= self._machines
        if not self._due:
            return None
        now_us = plant_now_us(self._plant, self._queries, self._clock_us)
        known = self._queries.known_alerts(now_us, self._again_within_us)
        chosen = sorted(self._due)[:AT_ONCE]
        changes = judge(known, self._sightings(chosen, now_us), now_us, self._again_within_us)
        self._due.difference_update(chosen)
        # those of servers and of the plant have no machine
        orphans = [a for a in known if a.stands and a.machine and a.machine not in self._machines]
        return _batch(changes, orphans, now_us)

    def _sightings(self, machines: Iterable[str], now_us: int) -> list[Sighting]:
        return [
            sighting
            for machine in machines
            for sighting in tool_near_limit.see(
                machine_forecasts(self._queries, self._calendar, machine, now_us), self._lead_us, now_us
            )
        ]


def _batch(changes: Changes, orphans: Iterable[Alert], now_us: int) -> Batch | None:
    """``orphans`` are alerts of machines that the plant no longer has: nothing would ever clear them."""
    gone = [replace(alert, cleared_us=now_us) for alert in orphans]
    changed = [*changes.changed, *gone]
    return Batch(raised=changes.raised, changed=changed) if changes.raised or changed else None
