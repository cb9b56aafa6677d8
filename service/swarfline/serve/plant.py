"""/plant: what this installation watches."""

from __future__ import annotations

from fastapi import APIRouter
from pydantic import Field

from swarfline.serve.room import InRoom, Room
from swarfline.serve.shapes import Shape
from swarfline.serve.times import show

router = APIRouter(tags=["plant"])


class CellShape(Shape):
    """A group of machines."""

    cell: str
    name: str
    machines: list[str]


class PartShape(Shape):
    """A part number and its plan."""

    part: str
    name: str
    planned_cycle_time_s: float
    parts_per_cycle: int


class ShiftShape(Shape):
    """A daily shift pattern; times are wall-clock times of the plant."""

    name: str
    start: str
    end: str
    days: list[str]
    machines: list[str] = Field(description="empty: every machine")


class PlantShape(Shape):
    """The plant. ``now`` is its present, which every open span ends at."""

    name: str
    time_zone: str
    now: str
    cells: list[CellShape]
    machines: list[str]
    parts: list[PartShape]
    shifts: list[ShiftShape]


@router.get("/plant")
def read_plant(room: InRoom) -> PlantShape:
    """The plant: zone, cells, machines, parts, shifts."""
    plant = room.plant
    return PlantShape(
        name=plant.plant.name,
        time_zone=plant.plant.time_zone,
        now=show(room.now_us(), room.zone),
        cells=_cells(room),
        machines=[m.id for m in plant.machines],
        parts=[
            PartShape(
                part=p.id,
                name=p.name or p.id,
                planned_cycle_time_s=p.planned_cycle_time_s,
                parts_per_cycle=p.parts_per_cycle,
            )
            for p in plant.parts
        ],
        shifts=_shifts(room),
    )


def _cells(room: Room) -> list[CellShape]:
    machines = room.plant.machines
    return [
        CellShape(cell=c.id, name=c.name or c.id, machines=[m.id for m in machines if m.cell == c.id])
        for c in room.plant.cells
    ]


def _shifts(room: Room) -> list[ShiftShape]:
    return [
        ShiftShape(
            name=s.name,
            start=s.start.isoformat("minutes"),
            end=s.end.isoformat("minutes"),
            days=list(s.days),
            machines=list(s.machines),
        )
        for s in room.plant.shifts
    ]
