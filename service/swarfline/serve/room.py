"""What the endpoints share: the plant, the store's read side, the calendar, and the plant's present moment."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Annotated
from zoneinfo import ZoneInfo

from fastapi import Depends, Path, Request

from swarfline.calendar import Calendar
from swarfline.live import Live
from swarfline.measure.production import PartPlan
from swarfline.measure.reasons import ReasonRule
from swarfline.outlook import plant_now_us
from swarfline.plant import Machine, Plant, StopReasonTable
from swarfline.sentence import N_
from swarfline.serve import problems
from swarfline.store import Queries, Store


@dataclass(frozen=True)
class Room:
    """One plant, served. ``clock_us`` is our own clock; ``now_us`` is the plant's."""

    plant: Plant
    store: Store
    live: Live
    calendar: Calendar
    clock_us: Callable[[], int]
    plans: dict[str, PartPlan] = field(default_factory=dict)
    rules: tuple[ReasonRule, ...] = ()

    @classmethod
    def of(cls, plant: Plant, store: Store, live: Live, clock_us: Callable[[], int]) -> Room:
        """The room of a checked plant."""
        plans = {
            p.id: PartPlan(p.id, round(p.planned_cycle_time_s * 1_000_000), p.parts_per_cycle) for p in plant.parts
        }
        rules = tuple(_rule(table) for table in plant.stop_reasons if not table.by_hand)
        return cls(plant, store, live, plant.calendar(), clock_us, plans, rules)

    @property
    def queries(self) -> Queries:
        """The store's read side."""
        return self.store.queries

    @property
    def zone(self) -> ZoneInfo:
        """The zone that everything is shown in."""
        return self.calendar.zone

    def now_us(self) -> int:
        """The plant's present: our clock, or how far the machines have told where a server's clock rules."""
        return plant_now_us(self.plant, self.queries, self.clock_us)

    def machine(self, machine_id: str) -> Machine:
        """One machine; ends the request with 404 where there is none."""
        try:
            return self.plant.machine(machine_id)
        except KeyError:
            raise problems.missing(N_("machine"), machine_id, [m.id for m in self.plant.machines]) from None

    def machines(self, machine: str | None, cell: str | None) -> list[Machine]:
        """The machines asked for, all of them by default; ends the request with 404 for unknown names."""
        cells = [c.id for c in self.plant.cells]
        if cell is not None and cell not in cells:
            raise problems.missing(N_("cell"), cell, cells)
        chosen = list(self.plant.machines) if machine is None else [self.machine(machine)]
        return [m for m in chosen if cell is None or m.cell == cell]

    def cell_name(self, cell_id: str | None) -> str:
        """How a cell is called; empty for machines of no cell."""
        names = {c.id: c.name or c.id for c in self.plant.cells}
        return names.get(cell_id or "", cell_id or "")


def _rule(table: StopReasonTable) -> ReasonRule:
    return ReasonRule(
        table.reason,
        frozenset(table.conditions),
        table.alarm_code,
        table.alarm_text,
        frozenset(table.machines),
        _us(table.min_length_s),
        _us(table.max_length_s),
    )


def _us(length_s: float | None) -> int | None:
    return None if length_s is None else round(length_s * 1_000_000)


def room_of(request: Request) -> Room:
    """The room of this application."""
    room = request.app.state.room
    assert isinstance(room, Room)
    return room


InRoom = Annotated[Room, Depends(room_of)]


def _one_machine(
    machine_id: Annotated[str, Path(description="id of a machine in the plant file")], room: InRoom
) -> Machine:
    return room.machine(machine_id)


OneMachine = Annotated[Machine, Depends(_one_machine)]
