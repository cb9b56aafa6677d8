"""The planned cycle, step by step, and how the measured ones compare with it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from statistics import median

from swarfline.facts import CUTTING, HELD, OTHER, POSITIONING, STEPS, TOOL_CHANGE, Cycle
from swarfline.measure.definition import OURS, Definition
from swarfline.measure.motion import Motion
from swarfline.measure.trend import steady_cycles

PLANNED_STEPS = tuple(step for step in STEPS if step != HELD)
"""The steps of a planned cycle: nobody plans a hold."""


@dataclass(frozen=True, slots=True)
class PlannedStep:
    """One cut as planned: its tool, and at which angles the axes stand; an axis that is not named stands at 0.

    ``other_us`` is time with this tool that is none of cutting, tool change and positioning.
    """

    tool: str
    cutting_us: int
    other_us: int = 0
    angles_deg: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class PlannedCycle:
    """µs by step, and of cutting by tool in the order of first use; None where the plan does not tell."""

    step_us: Mapping[str, int | None]
    cutting_us: Mapping[str, int]

    @property
    def all_us(self) -> int | None:
        """The whole cycle; None when a step is not known."""
        known = [us for us in self.step_us.values() if us is not None]
        return sum(known) if len(known) == len(self.step_us) else None


def planned_cycle(steps: Sequence[PlannedStep], motion: Motion | None) -> PlannedCycle:
    """The cycle that these steps make, over and over, on a machine of this ``motion``.

    The first step follows on the last one: its tool is brought back and the axes turn back. Without a motion, or
    where it lacks an axis that turns, only the cutting is known, and what no motion is needed for.
    """
    cutting: dict[str, int] = {}
    for step in steps:
        cutting[step.tool] = cutting.get(step.tool, 0) + step.cutting_us
    cuts, others = sum(cutting.values()), sum(step.other_us for step in steps)
    moves = [_move(before, step) for before, step in zip([*steps[-1:], *steps[:-1]], steps, strict=True)]
    between = _between(moves, motion)
    if between is None:
        change = None if any(changed for changed, _ in moves) else 0
        positioning = None if any(turns for _, turns in moves) else 0
        other = None if change is None else others
        return PlannedCycle(_by_step(cuts, change, positioning, other), cutting)
    change, positioning, ways = between
    return PlannedCycle(_by_step(cuts, change, positioning, ways + others), cutting)


def _by_step(
    cutting: int, change: int | None, positioning: int | None, other: int | None
) -> dict[str, int | None]:
    found = {CUTTING: cutting, TOOL_CHANGE: change, POSITIONING: positioning, OTHER: other}
    return {step: found[step] for step in PLANNED_STEPS}


def _move(before: PlannedStep, step: PlannedStep) -> tuple[bool, dict[str, float]]:
    """Whether the tool changes, and by how much each axis turns."""
    names = {*before.angles_deg, *step.angles_deg}
    turns = {name: step.angles_deg.get(name, 0.0) - before.angles_deg.get(name, 0.0) for name in sorted(names)}
    return before.tool != step.tool, {name: angle for name, angle in turns.items() if angle}


def _between(moves: Iterable[tuple[bool, dict[str, float]]], motion: Motion | None) -> tuple[int, int, int] | None:
    """µs of tool change, positioning and ways; None where the motion does not tell."""
    if motion is None:
        return None
    sums = [0, 0, 0]
    for change, turns in moves:
        if any(name not in motion.axes for name in turns):
            return None
        for n, part_s in enumerate(motion.between(change, turns)):
            sums[n] += round(part_s * 1_000_000)
    return sums[0], sums[1], sums[2]


@dataclass(frozen=True, slots=True)
class MeasuredCycle:
    """Medians of the steady cycles, in µs: of the whole, by step, and by tool of cutting and of all of its time in
    the spindle; None without cycles. ``energy_j`` is the median of the cycles that tell it.

    Medians do not add up: each is the usual value of its own.
    """

    count: int
    all_us: float | None
    step_us: Mapping[str, float | None]
    cutting_us: Mapping[str, float]
    in_spindle_us: Mapping[str, float]
    energy_j: float | None


def measured_cycle(cycles: Iterable[Cycle]) -> MeasuredCycle:
    """The usual cycle among cycles of one machine and part. A tool that a cycle did not use cut for 0 in it."""
    steady = steady_cycles(cycles)
    if not steady:
        return MeasuredCycle(0, None, dict.fromkeys(PLANNED_STEPS), {}, {}, None)
    cuts = [_by_tool(cycle, "cutting_us") for cycle in steady]
    held = [_by_tool(cycle, "in_spindle_us") for cycle in steady]
    tools = dict.fromkeys(tool for cut in cuts for tool in cut)
    told = [cycle.energy_j for cycle in steady if cycle.energy_j is not None]
    return MeasuredCycle(
        len(steady),
        median(c.duration_us for c in steady),
        {step: median(c.step_us[STEPS.index(step)] for c in steady) for step in PLANNED_STEPS},
        {tool: median(cut.get(tool, 0) for cut in cuts) for tool in tools},
        {tool: median(time.get(tool, 0) for time in held) for tool in tools},
        median(told) if told else None,
    )


def _by_tool(cycle: Cycle, field: str) -> dict[str, int]:
    return {use.tool: getattr(use, field) for use in sorted(cycle.tools, key=lambda use: use.order)}


FIGURES = (
    Definition(
        "positioning_time", "θ ÷ ω + ω ÷ α, or 2 · √(θ ÷ α) below ω² ÷ α; + clamp", "s", "to turn an axis",
        "elementary kinematics",
    ),
    Definition("planned_step_time", "Σ planned steps, by step or tool", "s", "a cycle as planned", OURS),
    Definition("measured_step_time", "P50 of steady cycles, by step or tool", "s", "the usual cycle", OURS),
    Definition("planned_difference", "measured_step_time − planned_step_time", "s", "slower than planned", OURS),
)  # fmt: skip
