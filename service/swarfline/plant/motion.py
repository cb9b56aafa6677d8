"""Checks of planned steps and of the machines' own times."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from swarfline.plant.model import Machine, Part, Plant
from swarfline.plant.wording import unknown


def motion_errors(plant: Plant) -> Iterator[str]:
    """One line per error: impossible tool changes, axes named twice, planned steps with axes that nobody has."""
    for machine in plant.machines:
        yield from _motion(machine)
    axes = {axis.name for m in plant.machines if m.motion for axis in m.motion.axes}
    if any(m.motion for m in plant.machines):
        for part in plant.parts:
            yield from _axes(part, sorted(axes))


def _motion(machine: Machine) -> Iterator[str]:
    motion = machine.motion
    if motion is None:
        return
    where = f"[[servers.machines]] {machine.id!r} motion"
    if motion.chip_to_chip_s < motion.tool_to_tool_s:
        yield (
            f"{where}: key 'chip_to_chip_s' = {motion.chip_to_chip_s:g}: must not be shorter than "
            f"'tool_to_tool_s' = {motion.tool_to_tool_s:g}; it is the tool change with the ways to and fro"
        )
    for name, count in Counter(axis.name for axis in motion.axes).items():
        if count > 1:
            yield f"{where}: key 'axes': axis {name!r} is there {'twice' if count == 2 else f'{count} times'}"


def _axes(part: Part, known: list[str]) -> Iterator[str]:
    for number, step in enumerate(part.planned_steps, 1):
        for name in step.angles_deg:
            if name not in known:
                where = f"[[parts]] {part.id!r} planned_steps no. {number}"
                yield f"{where}: key 'angles_deg': {unknown('axis', name, known)}"
