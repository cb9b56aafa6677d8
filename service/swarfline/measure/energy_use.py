"""What energy goes to: power by condition, base load, energy of a cycle; and what it costs and emits."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from math import fsum
from typing import NamedTuple

from swarfline.calendar import Interval
from swarfline.facts import PRODUCING, Energy
from swarfline.figures import Figure
from swarfline.measure.definition import OURS, TYPE_7, Definition
from swarfline.measure.energy import JOULES_PER_KWH, QUARTER_US, EnergySums, demand
from swarfline.measure.trend import quantile

LOW = 0.1
"""The base load is this quantile of quarter hours without production (common practice, no source)."""


def mean_power(sums: EnergySums) -> dict[str, float]:
    """Mean power in W of one machine by condition: its energy ÷ the time for which that energy is known."""
    known = sums.by_condition_us
    return {c: joules / known[c] * 1e6 for c, joules in sums.by_condition_j.items() if known.get(c)}


class BaseLoad(NamedTuple):
    """Power in W taken when nothing is produced, from so many quarter hours; None when there is none of them."""

    watts: float | None
    quarters: int


def base_load(energies: Iterable[Energy], span: Interval) -> BaseLoad:
    """Base load of one machine: the 10th percentile (type 7) of its demand in quarter hours without production.

    Only quarter hours that lie whole in ``span`` and whose energy is known throughout.
    """
    pieces = list(energies)
    busy = {e.start_us // QUARTER_US for e in pieces if e.condition == PRODUCING}
    idle = [
        d.mean_w
        for d in demand(pieces, span)
        if d.mean_w is not None
        and d.coverage == 1
        and d.start_us + QUARTER_US <= span[1]
        and d.start_us // QUARTER_US not in busy
    ]
    return BaseLoad(quantile(sorted(idle), LOW) if idle else None, len(idle))


def total_base_load(loads: Iterable[BaseLoad]) -> BaseLoad:
    """Base load of several machines: the sum of theirs; not known when one of them is not."""
    found = list(loads)
    known = [load.watts for load in found if load.watts is not None]
    whole = bool(found) and len(known) == len(found)
    return BaseLoad(fsum(known) if whole else None, sum(load.quarters for load in found))


class CycleEnergy(NamedTuple):
    """What a complete cycle took: main program, part, parts made, joules (None: not known)."""

    program: str
    part: str
    parts: int
    energy_j: float | None


@dataclass(frozen=True, slots=True)
class PerCycle:
    """Energy of the cycles of one program and part in kWh; those whose energy is not known are ``left_out``.

    ``per_part`` is their energy ÷ their parts.
    """

    program: str
    part: str
    cycles: int
    left_out: int
    median_kwh: float | None
    p10_kwh: float | None
    p90_kwh: float | None
    per_part: Figure


def per_cycle(cycles: Iterable[CycleEnergy]) -> list[PerCycle]:
    """Energy per cycle by program and part, sorted by both."""
    groups: dict[tuple[str, str], list[CycleEnergy]] = {}
    for cycle in cycles:
        groups.setdefault((cycle.program, cycle.part), []).append(cycle)
    return [_per_cycle(program, part, groups[program, part]) for program, part in sorted(groups)]


def _per_cycle(program: str, part: str, cycles: list[CycleEnergy]) -> PerCycle:
    told = [(c.energy_j / JOULES_PER_KWH, c.parts) for c in cycles if c.energy_j is not None]
    kwh = sorted(energy for energy, _ in told)
    median, low, high = (quantile(kwh, p) if kwh else None for p in (0.5, 0.1, 0.9))
    spent = Figure("energy_per_cycle_part", fsum(kwh) if kwh else None, sum(n for _, n in told), "kWh")
    return PerCycle(program, part, len(kwh), len(cycles) - len(kwh), median, low, high, spent)


def charges(
    kwh: float | None, price_per_kwh: float | None, co2_kg_per_kwh: float | None
) -> dict[str, float | None]:
    """``energy_cost`` in money and ``energy_co2`` in kg; None without energy, or without price or factor."""
    factors = {"energy_cost": price_per_kwh, "energy_co2": co2_kg_per_kwh}
    return {name: None if kwh is None or factor is None else kwh * factor for name, factor in factors.items()}


FIGURES = (
    Definition("mean_power", "energy ÷ time with known energy, by condition", "W", "of one machine", "physics"),
    Definition(
        "base_load",
        "P10 of demand in quarter hours without production",
        "W",
        "power taken when nothing is produced; of several machines their sum",
        TYPE_7,
    ),
    Definition("energy_per_cycle", "P50 of the energy of complete cycles", "kWh", "by program and part", TYPE_7),
    Definition(
        "energy_per_cycle_part",
        "Σ energy of complete cycles ÷ Σ their parts",
        "kWh",
        "energy of a part within its cycles",
        OURS,
    ),
    Definition("energy_cost", "energy · price_per_kwh", "money", "by the price in the plant file", OURS),
    Definition("energy_co2", "energy · co2_kg_per_kwh", "kg", "by the factor in the plant file", OURS),
)
