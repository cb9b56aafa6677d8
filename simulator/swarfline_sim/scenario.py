"""The plant of the demo: six machines of a works that makes irrigation parts, and a brisk one for tests."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from swarfline_sim.events import HOUR_US
from swarfline_sim.faults import Habits, Range, calmed
from swarfline_sim.parts import PROGRAMS, tools_for
from swarfline_sim.planning import Always
from swarfline_sim.program import Kinematics, life_per_cycle, plan_program, shortened
from swarfline_sim.shifts import WorksCalendar
from swarfline_sim.spec import LevelChange, MachineSpec
from swarfline_sim.wear import COUNT, ToolSpec

MACHINES = ("N1", "N2", "N3", "N4", "S1", "S2")
PROFILES = ("scenario", "brisk")

_PH, _VC, _MB = "PH-12", "VC-30", "MB-05"
_LOTS: dict[str, tuple[tuple[str, int], ...]] = {
    "N1": ((_PH, 600), (_PH, 450), (_PH, 800)),
    "N2": ((_PH, 500), (_PH, 700)),
    "N3": ((_VC, 900), (_VC, 1200), (_PH, 160)),
    "N4": ((_VC, 1100), (_PH, 200), (_VC, 800), (_VC, 1000)),
    "S1": ((_MB, 220), (_VC, 300), (_MB, 300)),
    "S2": ((_MB, 250), (_MB, 180), (_MB, 320)),
}
_ALONE = ("N1", "N2")
_LEVEL_CHANGE = LevelChange(8 * 24 * HOUR_US + 9 * HOUR_US, 3, 1.18)
"""N2's slot mill runs at a lower feed from the ninth day on: about 3 % of the cycle time."""

_ALONE_HABITS = Habits(
    short_wait=(14.0, 26.0),
    long_wait_chance=0.01,
    between_chance=0.002,
    breakage_chance=0.00025,
    breakdown_chance=0.0001,
    self_cleared=0.95,
)
"""Machines that run alone have a slower, but steadier loader."""

_BRISK_HABITS = Habits(
    short_wait=(1.0, 3.0),
    long_wait_chance=0.04,
    long_wait=Range(15, 15, 60),
    hold_chance=0.08,
    hold=Range(3, 4, 12),
    interrupt_chance=0.03,
    abort_chance=0.03,
    breakage_chance=0.005,
    between_chance=0.03,
    repair=Range(6, 8, 40),
    breakdown_chance=0.004,
    breakdown=Range(20, 20, 90),
    scrap_chance=0.05,
    replace=(6.0, 12.0),
    notice=Range(1, 3, 10),
    setup=(20.0, 40.0),
    lot_change=(2.0, 6.0),
)
_BRISK_CYCLE_S = {_PH: 21.0, _VC: 20.0, _MB: 25.0}


def plant(
    machines: Iterable[str] = MACHINES, profile: str = "scenario", calm: bool = False
) -> tuple[MachineSpec, ...]:
    """The specs of these machines; ``calm``: nothing goes wrong. Raises ValueError for unknown names."""
    if profile not in PROFILES:
        raise ValueError(f"unknown profile {profile!r}; known: {', '.join(PROFILES)}")
    specs = []
    for name in machines:
        if name not in MACHINES:
            raise ValueError(f"unknown machine {name!r}; known: {', '.join(MACHINES)}")
        spec = _scenario(name) if profile == "scenario" else _brisk(name)
        specs.append(replace(spec, habits=calmed(spec.habits)) if calm else spec)
    return tuple(specs)


def _scenario(name: str) -> MachineSpec:
    at = MACHINES.index(name)
    parts = tuple(sorted({part for part, _ in _LOTS[name]}))
    alone, north = name in _ALONE, name.startswith("N")
    return MachineSpec(
        name=name,
        cell="north" if north else "south",
        programs={part: PROGRAMS[part] for part in parts},
        magazine=tools_for(parts),
        lots=_LOTS[name],
        habits=_ALONE_HABITS if alone else Habits(scrap_chance=0.016 if name == "S1" else 0.008),
        kinematics=Kinematics(overlaps=name != "S2"),
        plan=WorksCalendar(runs_alone=alone),
        rests_in_breaks=not north,
        slow_feed={9: 0.09} if name == "N4" else {},
        level_changes=(_LEVEL_CHANGE,) if name == "N2" else (),
        first_lot=2001 + 100 * at,
        first_part_count=120_000 + 17_317 * at,
        first_energy_wh=41_000_000 + 3_700_000 * at,
    )


def _brisk(name: str) -> MachineSpec:
    spec = _scenario(name)
    programs = {
        part: shortened(program, spec.kinematics, _BRISK_CYCLE_S[part]) for part, program in spec.programs.items()
    }
    needs: dict[int, float] = {}
    bases = {tool.pot: tool.basis for tool in spec.magazine}
    for program in programs.values():
        needs |= life_per_cycle(plan_program(program, spec.kinematics), bases)
    return replace(
        spec,
        programs=programs,
        magazine=tuple(_short_lived(tool, n, needs[tool.pot]) for n, tool in enumerate(spec.magazine)),
        lots=tuple((part, max(12, quantity // 25)) for part, quantity in spec.lots),
        habits=_BRISK_HABITS,
        plan=Always(),
        slow_feed={},
        level_changes=(),
    )


def _short_lived(tool: ToolSpec, n: int, need: float) -> ToolSpec:
    """A life of 12 to 60 cycles."""
    limit = (12 + 8 * (n % 7)) * need
    return replace(tool, limit=round(limit) if tool.basis == COUNT else round(limit, 3), warning_share=0.8)
