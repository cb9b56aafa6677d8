"""What the plant file says about a machine, as interpretation wants to know it."""

from __future__ import annotations

from swarfline.interpret.settings import MAX_SKEW_US, MachineSettings
from swarfline.plant import Machine, Plant


def machine_settings(plant: Plant) -> list[MachineSettings]:
    """Settings of every machine of a checked plant, in the file's order."""
    return [_settings(plant, machine) for machine in plant.machines]


def _settings(plant: Plant, machine: Machine) -> MachineSettings:
    nodes = plant.nodes_of(machine)
    ours = plant.server_of(machine.id).clock == "ours"
    return MachineSettings(
        machine=machine.id,
        signals=frozenset(nodes),
        part_by_program=plant.part_by_program(),
        default_part=machine.part or "",
        parts_per_cycle={part.id: part.parts_per_cycle for part in plant.parts},
        widths={signal: ref.width for signal, ref in nodes.items() if ref.width is not None},
        bounds=machine.cycle_bounds,
        reorder_us=round(plant.interpret.reorder_window_s * 1_000_000),
        clock_tolerance_us=round(plant.interpret.clock_tolerance_s * 1_000_000),
        max_skew_us=MAX_SKEW_US if ours else None,
        cutting_load_pct=plant.interpret.cutting_load_pct,
    )
