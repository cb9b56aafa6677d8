"""Drift: how far the newest level of cycle times lies from the first one among the newest cycles.

Levels and where they begin are those of level steps (``levels``). When the first level has left the newest cycles,
the new one is what is usual, and there is no drift any more.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from swarfline.facts import Cycle
from swarfline.measure.levels import LEAST_VALUES, Level, find_steps
from swarfline.measure.trend import steady_cycles

LEAST_SHARE = 0.005
"""Steps smaller than this share of the level are no step (own choice)."""


@dataclass(frozen=True, slots=True)
class Drift:
    """First and newest level in seconds (trimmed means) of one program and part; the same without a step.

    ``since_us``: the start of the first cycle of the newest level; None without a step.
    """

    program: str
    part: str
    before_s: float
    now_s: float
    since_us: int | None = None


def drifts(cycles: Iterable[Cycle]) -> list[Drift]:
    """The drift of each program and part among cycles in time order that has enough steady ones."""
    groups: dict[tuple[str, str], list[Cycle]] = {}
    for cycle in steady_cycles(cycles):
        groups.setdefault((cycle.program, cycle.part), []).append(cycle)
    return [_drift(group) for group in groups.values() if len(group) >= 2 * LEAST_VALUES]


def _drift(cycles: Sequence[Cycle]) -> Drift:
    program, part = cycles[0].program, cycles[0].part
    values = [c.duration_us / 1e6 for c in cycles]
    places = [place for place, _ in find_steps(values, LEAST_SHARE)]
    if not places:
        whole = Level.of(values).mean
        return Drift(program, part, whole, whole)
    first, newest = Level.of(values[: places[0]]), Level.of(values[places[-1] :])
    return Drift(program, part, first.mean, newest.mean, cycles[places[-1]].start_us)
