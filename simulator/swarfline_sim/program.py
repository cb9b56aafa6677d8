"""Part programs: what each tool cuts and where the table stands, and the times that follow from it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from swarfline_sim.events import micros
from swarfline_sim.motion import Axis, table_time_s
from swarfline_sim.power import AL_SI, Material, cutting_power_kw, feed_mm_min, specific_force_mpa


@dataclass(frozen=True, slots=True)
class Cut:
    """One path of a tool: length, depth, width and feed per tooth in mm; table angles in degrees."""

    path_mm: float
    ap_mm: float
    ae_mm: float
    fz_mm: float
    tilt_deg: float = 0.0
    rotary_deg: float = 0.0


@dataclass(frozen=True, slots=True)
class ToolStep:
    """All cuts of one tool in a program; ``pot`` is where the tool lives."""

    pot: int
    speed_rpm: float
    teeth: int
    cuts: tuple[Cut, ...]


@dataclass(frozen=True, slots=True)
class Program:
    """A main program. ``planned_s`` is the planned cycle time that the works' papers give."""

    name: str
    part: str
    parts_per_cycle: int
    planned_s: float
    steps: tuple[ToolStep, ...]
    material: Material = AL_SI


TILT = Axis(4000 / 9, 50.0, 0.2)
ROTARY = Axis(250.0, 75.0, 0.2)
"""Accelerations by which 90 degrees take 0.9 s and 1.2 s, with 0.2 s to clamp; common practice, no source."""


@dataclass(frozen=True, slots=True)
class Kinematics:
    """Times of a machine besides cutting; ``overlaps``: the table turns while the tool is changed."""

    tilt: Axis = TILT
    rotary: Axis = ROTARY
    change_s: float = 1.2
    approach_s: float = 0.4
    open_s: float = 2.2
    close_s: float = 1.6
    overlaps: bool = True


@dataclass(frozen=True, slots=True)
class PlannedCut:
    """A cut with its times: ``position_us`` to turn the table before it, ``cut_us`` at full feed."""

    position_us: int
    cut_us: int
    power_kw: float
    path_m: float


@dataclass(frozen=True, slots=True)
class PlannedStep:
    """A tool's cuts with their times."""

    pot: int
    speed_rpm: int
    cuts: tuple[PlannedCut, ...]


@dataclass(frozen=True, slots=True)
class PlannedProgram:
    """A program as one machine runs it; ``home_us`` turns the table back at the end."""

    program: Program
    steps: tuple[PlannedStep, ...]
    home_us: int

    def cutting_s(self, pot: int) -> float:
        """Cutting seconds of a pot's tool in one cycle at full feed."""
        return sum(cut.cut_us for step in self.steps if step.pot == pot for cut in step.cuts) / 1e6

    def path_m(self, pot: int) -> float:
        """Metres that a pot's tool cuts in one cycle."""
        return sum(cut.path_m for step in self.steps if step.pot == pot for cut in step.cuts)


def cut_seconds(step: ToolStep, cut: Cut) -> float:
    """Seconds of a cut at full feed."""
    return cut.path_mm / feed_mm_min(cut.fz_mm, step.teeth, step.speed_rpm) * 60


def plan_program(program: Program, kinematics: Kinematics) -> PlannedProgram:
    """The times of ``program`` on a machine of these kinematics."""
    tilt = rotary = 0.0
    steps = []
    for step in program.steps:
        cuts = []
        for cut in step.cuts:
            turn = table_time_s(kinematics.tilt, kinematics.rotary, cut.tilt_deg - tilt, cut.rotary_deg - rotary)
            tilt, rotary = cut.tilt_deg, cut.rotary_deg
            cuts.append(_plan_cut(program.material, step, cut, turn))
        steps.append(PlannedStep(step.pot, round(step.speed_rpm), tuple(cuts)))
    home = table_time_s(kinematics.tilt, kinematics.rotary, tilt, rotary)
    return PlannedProgram(program, tuple(steps), micros(home))


def _plan_cut(material: Material, step: ToolStep, cut: Cut, turn_s: float) -> PlannedCut:
    feed = feed_mm_min(cut.fz_mm, step.teeth, step.speed_rpm)
    power = cutting_power_kw(cut.ap_mm, cut.ae_mm, feed, specific_force_mpa(material, cut.fz_mm))
    return PlannedCut(micros(turn_s), micros(cut_seconds(step, cut)), power, cut.path_mm / 1000)


def cycle_seconds(planned: PlannedProgram, kinematics: Kinematics) -> float:
    """Seconds of an undisturbed cycle with sharp tools."""
    total = kinematics.open_s + kinematics.close_s
    several = len(planned.steps) > 1
    for at, step in enumerate(planned.steps):
        for n, cut in enumerate(step.cuts):
            change = kinematics.change_s if n == 0 and at > 0 else 0.0
            total += _both(change, cut.position_us / 1e6, kinematics.overlaps)
            total += kinematics.approach_s + cut.cut_us / 1e6
    return total + _both(kinematics.change_s if several else 0.0, planned.home_us / 1e6, kinematics.overlaps)


def _both(first_s: float, second_s: float, overlaps: bool) -> float:
    return max(first_s, second_s) if overlaps else first_s + second_s


def shortened(program: Program, kinematics: Kinematics, target_s: float) -> Program:
    """The same program with all paths shortened by one factor so that a cycle takes about ``target_s``."""
    planned = plan_program(program, kinematics)
    cutting = sum(cut.cut_us for step in planned.steps for cut in step.cuts) / 1e6
    rest = cycle_seconds(planned, kinematics) - cutting
    factor = max(target_s - rest, 0.1 * target_s) / cutting
    steps = tuple(
        replace(step, cuts=tuple(replace(cut, path_mm=cut.path_mm * factor) for cut in step.cuts))
        for step in program.steps
    )
    return replace(program, steps=steps, planned_s=round(0.96 * (rest + factor * cutting), 1))


def life_per_cycle(planned: PlannedProgram, pots: Mapping[int, str]) -> dict[int, float]:
    """What one cycle uses up of each pot's tool, in 1, s or m by its basis (``pots``: pot to basis)."""
    needs: dict[int, float] = {}
    for step in planned.steps:
        amounts = {"count": 1.0, "time": planned.cutting_s(step.pot), "distance": planned.path_m(step.pot)}
        needs[step.pot] = amounts[pots[step.pot]]
    return needs
