"""/machines: who there is, what can be told of each, and what each is doing now."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter
from pydantic import Field

from swarfline import capability, grounds
from swarfline.plant import Machine
from swarfline.serve.presence import Presence, presence
from swarfline.serve.reply import Replying
from swarfline.serve.room import InRoom, OneMachine, Room
from swarfline.serve.shapes import Listing, Shape
from swarfline.serve.table import OPENAPI
from swarfline.serve.times import seconds, show, show_or_none
from swarfline.signals import SIGNALS

router = APIRouter(tags=["machines"])


class MachineRow(Shape):
    """A machine in the list."""

    machine: str
    name: str
    cell: str | None
    server: str


class AbilityShape(Shape):
    """A family of figures and whether it can be told."""

    family: str
    figures: list[str]
    can: bool
    missing: list[str] = Field(description="per unmet need the signals of which one would do")
    without: str = Field(description="what happens without them")


class MachineShape(MachineRow):
    """A machine and what its signals allow."""

    signals: list[str]
    cycle_bounds: str = Field(description="the signal that cuts cycles")
    cycle_bounds_why: str = Field(description="why it is that one")
    steps: list[str] = Field(description="the steps of a cycle that can be told apart")
    steps_known: str = Field(
        description="how well, best first: exact, load, speed (cutting is the spindle turning: the most it can "
        "be), tool (only which sat in the spindle), not"
    )
    figures: list[AbilityShape]


class ValueShape(Shape):
    """The newest value of one signal."""

    signal: str
    value: bool | int | float | str | None
    unit: str


class RunningShape(Shape):
    """The cycle that runs now."""

    start: str
    elapsed_s: float
    program: str
    part: str
    lot: str


class NowShape(Shape):
    """What a machine is doing now. While it is unobserved, values and cycle are not told."""

    machine: str
    at: str | None = Field(description="newest time that the machine told; null: never heard of")
    received: str | None = Field(description="when that reached us, by our clock")
    linked: bool
    condition: str
    since: str | None
    for_s: float | None = Field(description="how long the condition lasts")
    values: list[ValueShape]
    cycle: RunningShape | None


@router.get("/machines", response_model=Listing[MachineRow], responses=OPENAPI)
def list_machines(room: InRoom, reply: Replying) -> Any:
    """Every machine, in the plant file's order."""
    return reply.listing(MachineRow, [MachineRow(**_names(room, m)) for m in room.plant.machines])


@router.get("/machines/{machine_id}")
def read_machine(machine: OneMachine, room: InRoom) -> MachineShape:
    """One machine: its signals, how its cycles are cut, and which figures can be told of it."""
    signals = capability.signals_of(room.plant, machine)
    chosen = machine.cycle_bounds
    return MachineShape(
        **_names(room, machine),
        signals=signals,
        cycle_bounds=grounds.cycle_bounds(signals, chosen),
        cycle_bounds_why=grounds.why_bounds(signals, chosen),
        steps=grounds.steps_known(signals),
        steps_known=grounds.step_grounds(signals),
        figures=[
            AbilityShape(
                family=a.family, figures=list(a.figures), can=a.can, missing=list(a.missing), without=a.without
            )
            for a in capability.abilities(signals)
        ],
    )


def _names(room: Room, machine: Machine) -> dict[str, Any]:
    return {
        "machine": machine.id,
        "name": machine.name or machine.id,
        "cell": machine.cell,
        "server": room.plant.server_of(machine.id).id,
    }


@router.get("/machines/{machine_id}/now")
def read_now(machine: OneMachine, room: InRoom) -> NowShape:
    """What the machine is doing now."""
    return now_shape(room, presence(room, machine.id), room.now_us())


def now_shape(room: Room, seen: Presence, now_us: int) -> NowShape:
    """A presence as sent."""
    running = seen.running
    return NowShape(
        machine=seen.machine,
        at=show_or_none(seen.at_us, room.zone),
        received=show_or_none(seen.received_us, room.zone),
        linked=seen.linked,
        condition=seen.condition,
        since=show_or_none(seen.since_us, room.zone),
        for_s=None if seen.since_us is None else seconds(max(0, now_us - seen.since_us)),
        values=[
            ValueShape(signal=name, value=seen.values[name], unit=SIGNALS[name].unit)
            for name in SIGNALS
            if name in seen.values
        ],
        cycle=None
        if running is None
        else RunningShape(
            start=show(running.start_us, room.zone),
            elapsed_s=seconds(max(0, now_us - running.start_us)),
            program=running.program,
            part=running.part,
            lot=running.lot,
        ),
    )
