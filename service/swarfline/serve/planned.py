"""/planned-cycles: the planned cycle of each machine and part against the usual one, by step and tool."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from fastapi import APIRouter
from pydantic import Field

from swarfline.facts import OTHER, STEPS, Cycle
from swarfline.grounds import BY_SPEED, step_grounds, steps_known
from swarfline.measure.motion import Axis, Motion
from swarfline.measure.planned import (
    PLANNED_STEPS,
    MeasuredCycle,
    PlannedCycle,
    PlannedStep,
    measured_cycle,
    planned_cycle,
)
from swarfline.plant import Machine, Part, Plant
from swarfline.sentence import N_, Sentence
from swarfline.serve.assemble import Assembly
from swarfline.serve.reply import Replying
from swarfline.serve.room import InRoom, Room
from swarfline.serve.selection import CellName, MachineName
from swarfline.serve.shapes import Figures, Shape
from swarfline.serve.spans import AskedSpan
from swarfline.serve.table import OPENAPI
from swarfline.serve.times import seconds

router = APIRouter(tags=["figures"])

BY_SPEED_NOTE = N_(
    "this machine has no signal of its spindle load: measured cutting is the time in which the spindle turns, "
    "which is the most that it can be"
)


class AgainstShape(Shape):
    """Planned against measured; null where one of them is not known."""

    planned_s: float | None
    measured_s: float | None = Field(description="median of steady cycles")
    difference_s: float | None = Field(description="measured less planned")


class StepAgainstShape(AgainstShape):
    """One step of the cycle."""

    step: str


class ToolAgainstShape(AgainstShape):
    """The cutting of one tool."""

    tool: str


class PlannedRow(Shape):
    """The planned cycle of one part on one machine, and the usual one. Medians do not add up."""

    machine: str
    part: str
    count: int = Field(description="steady cycles: complete, without holds, wholly in sight")
    planned_cycle_time_s: float | None = Field(description="as the plant file says, whatever the steps add up to")
    cycle: AgainstShape
    steps: list[StepAgainstShape]
    tools: list[ToolAgainstShape] = Field(description="cutting by tool, planned ones first")
    notes: list[str] = Field(description="what is missing or does not fit")


@router.get("/planned-cycles", response_model=Figures[PlannedRow], responses=OPENAPI)
def list_planned(
    room: InRoom, asked: AskedSpan, reply: Replying, machine: MachineName = None, cell: CellName = None
) -> Any:
    """Planned against measured in the span, for every part that a machine made or that the plant file gives it."""
    work = Assembly(room, asked.interval, asked.now_us)
    chosen = room.machines(machine, cell)
    rows = [row for m in chosen for row in planned_rows(room, m, work.cycles(m.id))]
    return reply.figures(room, asked, work.coverage([m.id for m in chosen]), PlannedRow, rows)


def planned_rows(room: Room, machine: Machine, cycles: Sequence[Cycle]) -> Iterator[PlannedRow]:
    """The rows of one machine, by part."""
    made: dict[str, list[Cycle]] = {machine.part: []} if machine.part else {}
    for cycle in cycles:
        made.setdefault(cycle.part, []).append(cycle)
    parts = {part.id: part for part in room.plant.parts}
    for name in sorted(made):
        yield _row(room, machine, name, parts.get(name), measured_cycle(made[name]))


def planned_on(machine: Machine, part: Part | None) -> PlannedCycle | None:
    """The planned cycle of a part on a machine; None where the plant file has no steps of it."""
    if part is None or not part.planned_steps:
        return None
    steps = [PlannedStep(s.tool, _us(s.cutting_s), _us(s.other_s), s.angles_deg) for s in part.planned_steps]
    return planned_cycle(steps, motion_of(machine))


def plan_notes(plant: Plant) -> list[str]:
    """What does not fit in the planned steps of a plant file.

    A part is judged on the machines that are to make it, or on all of them where none names it.
    """
    found: dict[tuple[str, str], list[str]] = {}
    for part in (p for p in plant.parts if p.planned_steps):
        makers = [m for m in plant.machines if m.part == part.id] or plant.machines
        for machine in makers:
            for note in _notes(machine, part, planned_on(machine, part)):
                found.setdefault((part.id, note.told()), []).append(machine.id)
    return [f"[[parts]] {part!r} on {', '.join(machines)}: {note}" for (part, note), machines in found.items()]


def motion_of(machine: Machine) -> Motion | None:
    """A machine's own times, as the plant file gives them."""
    told = machine.motion
    if told is None:
        return None
    axes = {a.name: Axis(a.max_rpm, a.acceleration_deg_s2, a.clamp_s) for a in told.axes}
    return Motion(told.tool_to_tool_s, told.chip_to_chip_s, axes, told.at_once)


def _us(length_s: float) -> int:
    return round(length_s * 1_000_000)


def _row(room: Room, machine: Machine, name: str, part: Part | None, usual: MeasuredCycle) -> PlannedRow:
    plan = planned_on(machine, part)
    nodes = room.plant.nodes_of(machine)
    known = steps_known(nodes)
    whole = plan.all_us if plan else None
    return PlannedRow(
        machine=machine.id,
        part=name,
        count=usual.count,
        planned_cycle_time_s=part.planned_cycle_time_s if part else None,
        cycle=AgainstShape(**_against(whole, usual.all_us)),
        steps=[_step(step, plan, usual, known) for step in PLANNED_STEPS],
        tools=_tools(plan, usual if "cutting" in known else None),
        notes=[one.told() for one in plan_says(room, machine, name)],
    )


def _step(step: str, plan: PlannedCycle | None, usual: MeasuredCycle, known: Sequence[str]) -> StepAgainstShape:
    planned = plan.step_us[step] if plan else None
    measured = usual.step_us[step] if step in known else None
    found = _against(planned, measured)
    if step == OTHER and len(known) < len(STEPS):
        found["difference_s"] = None  # what the signals cannot tell apart is in it
    return StepAgainstShape(step=step, **found)


def _tools(plan: PlannedCycle | None, usual: MeasuredCycle | None) -> list[ToolAgainstShape]:
    planned: Mapping[str, int] = plan.cutting_us if plan else {}
    measured: Mapping[str, float] = usual.cutting_us if usual else {}
    absent = 0 if usual and usual.count else None
    return [
        ToolAgainstShape(tool=t, **_against(planned.get(t, 0 if plan else None), measured.get(t, absent)))
        for t in dict.fromkeys([*planned, *measured])
    ]


def _against(planned_us: float | None, measured_us: float | None) -> dict[str, float | None]:
    return {
        "planned_s": None if planned_us is None else planned_us / 1_000_000,
        "measured_s": None if measured_us is None else measured_us / 1_000_000,
        "difference_s": (
            None if planned_us is None or measured_us is None else (measured_us - planned_us) / 1_000_000
        ),
    }


def plan_says(room: Room, machine: Machine, name: str) -> list[Sentence]:
    """What is missing or does not fit in the plan of a part on a machine, to be said."""
    part = next((p for p in room.plant.parts if p.id == name), None)
    by_speed = step_grounds(room.plant.nodes_of(machine)) == BY_SPEED
    notes = _notes(machine, part, planned_on(machine, part))
    return [*notes, *([Sentence(BY_SPEED_NOTE)] if by_speed else [])]


def _notes(machine: Machine, part: Part | None, plan: PlannedCycle | None) -> Iterator[Sentence]:
    if part is None:
        yield Sentence(N_("the plant file does not list this part"))
        return
    if plan is None:
        yield Sentence(N_("the plant file has no planned_steps of this part"))
        return
    if plan.all_us is None:
        yield from _gaps(machine, part)
    elif seconds(plan.all_us) > part.planned_cycle_time_s:
        text = N_("the planned steps add up to {all:g} s, more than planned_cycle_time_s = {planned:g}")
        yield Sentence(text, {"all": seconds(plan.all_us), "planned": part.planned_cycle_time_s})


def _gaps(machine: Machine, part: Part) -> Iterator[Sentence]:
    """Why the moves of a part on a machine have no planned time."""
    if machine.motion is None:
        text = N_("the plant file has no motion of this machine: its tool changes and turns have no planned time")
        yield Sentence(text)
        return
    axes = {axis.name for axis in machine.motion.axes}
    for name in sorted({name for step in part.planned_steps for name in step.angles_deg} - axes):
        text = N_("this machine's motion has no axis {axis}: its moves have no planned time")
        yield Sentence(text, {"axis": repr(name)})
