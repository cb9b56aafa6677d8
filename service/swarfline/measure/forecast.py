"""Tool forecast: how long each tool lasts, in cycles, parts and time.

    consumption per cycle = share of cycles that use the tool × typical life used by such a cycle
    cycles left           = ⌊(limit − used) ÷ consumption per cycle⌋

What is not known is None, never 0.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import ceil, floor, fsum
from statistics import median

from swarfline.calendar import Interval
from swarfline.facts import Cycle, ToolLife
from swarfline.measure.definition import OURS, Definition
from swarfline.measure.interval import EXACT, Spread, spread_of
from swarfline.measure.prospect import Prospect, Reach, prospect
from swarfline.measure.rate import PlannedBetween

FEW = 5
"""Below so many cycles that use a tool, their median is typical; from it on, their trimmed mean."""

TRIM = 0.1
"""Share of the values left out at either end of a trimmed mean, at least one value."""

OK, WARNING, DUE, UNKNOWN = "ok", "warning", "due", "unknown"

UNITS = {"count": "1", "time": "s", "distance": "m"}
"""Unit by life basis."""


@dataclass(frozen=True, slots=True)
class ToolForecast:
    """One tool in one pot.

    ``used`` to ``remaining`` and ``consumption_per_cycle`` in ``unit`` (1, s or m); ``remaining`` is negative past
    the limit, ``share_used`` is used ÷ limit. ``cycles_left`` and ``parts_left`` are whole ones, 0 past the limit.
    ``warning_at_us`` and ``limit_at_us`` lie ahead: None once reached, and when nothing can be told. Low and high
    as in ``Reach``. ``full_life_cycles`` are those that a whole life is good for. ``state`` is ok, warning (level
    reached), due (limit reached) or unknown (neither level nor limit told).
    """

    machine: str
    pot_key: str
    tool: str
    name: str
    pot: str
    basis: str
    unit: str
    used: float
    limit: float | None
    warning_level: float | None
    remaining: float | None
    share_used: float | None
    consumption_per_cycle: float | None
    cycles_left: int | None
    cycles_left_low: int | None
    cycles_left_high: int | None
    full_life_cycles: int | None
    full_life_cycles_low: int | None
    parts_left: int | None
    warning_at_us: int | None
    warning_at_low_us: int | None
    warning_at_high_us: int | None
    limit_at_us: int | None
    limit_at_low_us: int | None
    limit_at_high_us: int | None
    locked: bool
    state: str


def consumption_per_cycle(values: Sequence[float]) -> float | None:
    """Life used per cycle, from the life used by each recent cycle, zero where the tool was not used.

    A plain median of all would be 0 for a tool that fewer than half of the cycles use, and too much for one that
    most use; so what is typical is sought among the cycles that use it, and weighted by their share. None for no
    cycles.
    """
    if not values:
        return None
    using = sorted(v for v in values if v > 0)
    return len(using) / len(values) * _typical(using) if using else 0.0


def _typical(ordered: Sequence[float]) -> float:
    if len(ordered) < FEW:
        return median(ordered)
    kept = _kept(ordered)
    return fsum(kept) / len(kept)


def _kept(ordered: Sequence[float]) -> Sequence[float]:
    cut = max(1, floor(TRIM * len(ordered)))
    return ordered[cut:-cut]


def consumption_spread(values: Sequence[float]) -> Spread | None:
    """Spread of what a cycle uses, about ``consumption_per_cycle``; None for fewer than two cycles.

    Robust as that is: what lies beyond the values that the trimmed mean is from counts as the nearest of them, and
    the distances from it are made longer in turn, as for the error of a trimmed mean (Yuen 1974, from memory).
    """
    mean = consumption_per_cycle(values)
    using = sorted(v for v in values if v > 0)
    if mean is None or len(using) < FEW:
        return spread_of(values, mean)
    kept, typical = _kept(using), _typical(using)
    longer = len(using) / len(kept)
    drawn_in = [typical + longer * (min(max(v, kept[0]), kept[-1]) - typical) if v > 0 else 0.0 for v in values]
    return spread_of(drawn_in, mean)


def life_used(cycles: Iterable[Cycle], tool: str) -> list[float]:
    """Life of one tool used by each cycle; cycles that used the tool without telling its life are left out."""
    values: list[float] = []
    for cycle in cycles:
        uses = [use.life_used for use in cycle.tools if use.tool == tool]
        told = [used for used in uses if used is not None]
        if told or not uses:
            values.append(fsum(told))
    return values


def whole_cycles(life: float, consumption: float | None) -> int | None:
    """Cycles that a remaining life is good for, 0 when there is none; None when no consumption is known."""
    if life <= 0:
        return 0
    return floor(life / consumption + EXACT) if consumption else None


def cycles_until(life: float, consumption: float | None) -> int | None:
    """Cycles after which a life yet to be used has been used; None when no consumption is known."""
    if life <= 0:
        return 0
    return ceil(life / consumption - EXACT) if consumption else None


def tool_forecasts(
    lives: Iterable[ToolLife],
    cycles: Iterable[Cycle],
    worked: Sequence[Interval],
    planned_between: PlannedBetween,
    now_us: int,
) -> list[ToolForecast]:
    """Forecasts for the open lives of one machine, in their order; ended lives are passed over.

    ``worked`` is its planned and observed time up to now, sorted and disjoint; ``planned_between`` gives its
    planned times ahead.
    """
    ahead = prospect(cycles, (), worked, planned_between, now_us)
    return [tool_forecast(life, ahead) for life in lives if life.open]


def tool_forecast(life: ToolLife, ahead: Prospect) -> ToolForecast:
    """How long one tool lasts."""
    values = life_used(ahead.recent, life.tool)
    consumption = consumption_per_cycle(values)
    spread = consumption_spread(values) if consumption else None
    limit = _limit(ahead, life, consumption, spread)
    warning = _warning(ahead, life, consumption, spread)
    return ToolForecast(
        machine=life.machine,
        pot_key=life.pot_key,
        tool=life.tool,
        name=life.name,
        pot=life.pot,
        basis=life.basis,
        unit=UNITS.get(life.basis, ""),
        used=life.used,
        limit=life.limit,
        warning_level=life.warning_level,
        remaining=None if life.limit is None else life.limit - life.used,
        share_used=life.used / life.limit if life.limit else None,
        consumption_per_cycle=consumption,
        cycles_left=limit.cycles,
        cycles_left_low=limit.cycles_low,
        cycles_left_high=limit.cycles_high,
        full_life_cycles=None if life.limit is None else whole_cycles(life.limit, consumption),
        full_life_cycles_low=None if life.limit is None or spread is None else spread.within(life.limit)[0],
        parts_left=ahead.parts(limit.cycles),
        warning_at_us=warning.at_us,
        warning_at_low_us=warning.at_low_us,
        warning_at_high_us=warning.at_high_us,
        limit_at_us=limit.at_us,
        limit_at_low_us=limit.at_low_us,
        limit_at_high_us=limit.at_high_us,
        locked=life.locked,
        state=life_state(life),
    )


def _limit(ahead: Prospect, life: ToolLife, consumption: float | None, spread: Spread | None) -> Reach:
    if life.limit is None:
        return Reach()
    left = life.limit - life.used
    if left <= 0:
        return Reach(0, 0, 0)
    cycles = whole_cycles(left, consumption)
    return ahead.reach(cycles, spread.within(left) if spread else (None, None))


def _warning(ahead: Prospect, life: ToolLife, consumption: float | None, spread: Spread | None) -> Reach:
    if life.warning_level is None or life.used >= life.warning_level:
        return Reach()
    left = life.warning_level - life.used
    return ahead.reach(cycles_until(left, consumption), spread.until(left) if spread else (None, None))


def life_state(life: ToolLife) -> str:
    """ok, warning, due or unknown."""
    if life.limit is not None and life.used >= life.limit:
        return DUE
    if life.warning_level is not None and life.used >= life.warning_level:
        return WARNING
    return UNKNOWN if life.limit is None and life.warning_level is None else OK


FIGURES = (
    Definition("share_used", "used ÷ limit", "1", "how far a tool life has gone", OURS),
    Definition("remaining", "limit − used", "1, s or m", "life left; negative past the limit", OURS),
    Definition(
        "consumption_per_cycle",
        "share of cycles that use the tool · typical life used by one",
        "1, s or m",
        "life that a cycle takes, on the whole",
        OURS,
    ),
    Definition("cycles_left", "⌊remaining ÷ consumption_per_cycle⌋", "1", "whole cycles to the limit", OURS),
    Definition("parts_left", "⌊cycles_left · parts per cycle⌋", "1", "whole parts to the limit", OURS),
    Definition("cycle_pace", "complete cycles ÷ planned and observed time", "1/s", "pace of late, waits in", OURS),
    Definition("warning_at", "now + cycles to the warning level ÷ cycle_pace", "time", "in planned time", OURS),
    Definition("limit_at", "now + cycles_left ÷ cycle_pace", "time", "in planned time", OURS),
    Definition(
        "prediction_interval",
        "N · x̄ ± t · s · √(N + N² ÷ n)",
        "of x",
        "low and high that hold the truth in 80 % of the cases",
        "textbook",
    ),
)
