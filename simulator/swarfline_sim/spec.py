"""What one simulated machine is: its tools, programs, lots, habits and calendar."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from swarfline_sim.faults import Habits
from swarfline_sim.planning import Always, Plan
from swarfline_sim.power import Levels
from swarfline_sim.program import Kinematics, Program
from swarfline_sim.wear import ToolSpec


@dataclass(frozen=True, slots=True)
class LevelChange:
    """From ``after_us`` past the machine's start on, the tool of ``pot`` takes ``factor`` times as long to cut."""

    after_us: int
    pot: int
    factor: float


@dataclass(frozen=True, slots=True)
class MachineSpec:
    """One machine. ``lots`` is the endless round of (part, quantity); ``slow_feed`` is, by pot, the share by
    which a worn tool cuts slower at the end of its life.
    """

    name: str
    cell: str
    programs: Mapping[str, Program]
    magazine: tuple[ToolSpec, ...]
    lots: tuple[tuple[str, int], ...]
    habits: Habits = field(default_factory=Habits)
    kinematics: Kinematics = field(default_factory=Kinematics)
    levels: Levels = field(default_factory=Levels)
    plan: Plan = field(default_factory=Always)
    rests_in_breaks: bool = False
    slow_feed: Mapping[int, float] = field(default_factory=dict)
    level_changes: tuple[LevelChange, ...] = ()
    first_lot: int = 2001
    first_part_count: int = 100_000
    first_energy_wh: int = 1_000_000
