"""Tool forecast: how long each tool lasts, in cycles, parts and time.

    consumption per cycle = share of cycles that use the tool × typical life used by such a cycle
    cycles left           = ⌊(limit − used) ÷ consumption per cycle⌋

What is not known is None, never 0.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import ceil, floor, fsum
from statistics import median

from swarfline.calendar import Interval
from swarfline.facts import COMPLETE, Cycle, ToolLife
from swarfline.measure.definition import OURS, Definition
from swarfline.measure.rate import PlannedBetween, cycle_pace, reach_time

RECENT_CYCLES = 50
"""Complete cycles that a consumption is taken from."""

MIX_CYCLES = 5
"""Programs met in so many latest cycles are what is being made, if they take turns."""

FEW = 5
"""Below so many cycles that use a tool, their median is typical; from it on, their trimmed mean."""

TRIM = 0.1
"""Share of the values left out at either end of a trimmed mean, at least one value."""

OK, WARNING, DUE, UNKNOWN = "ok", "warning", "due", "unknown"

UNITS = {"count": "1", "time": "s", "distance": "m"}
"""Unit by life basis."""

_EXACT = 1e-9
"""Share of a cycle by which a quotient may miss a whole number through binary rounding."""


_CountCycles = Callable[[float, float | None], int | None]


@dataclass(frozen=True, slots=True)
class ToolForecast:
    """One tool in one pot.

    ``used`` to ``remaining`` and ``consumption_per_cycle`` in ``unit`` (1, s or m); ``remaining`` is negative past
    the limit, ``share_used`` is used ÷ limit. ``cycles_left`` and ``parts_left`` are whole ones, 0 past the limit.
    ``warning_at_us`` and ``limit_at_us`` lie ahead: None once reached, and when nothing can be told. ``state`` is
    ok, warning (level reached), due (limit reached) or unknown (neither level nor limit told).
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
    parts_left: int | None
    warning_at_us: int | None
    limit_at_us: int | None
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
    cut = max(1, floor(TRIM * len(ordered)))
    kept = ordered[cut:-cut]
    return fsum(kept) / len(kept)


def recent_cycles(cycles: Iterable[Cycle]) -> list[Cycle]:
    """The latest complete cycles of what is being made now, oldest first; a running one only says what that is."""
    known = sorted(cycles, key=lambda c: c.start_us)
    mix = _made_now(known)
    complete = [c for c in known if c.outcome == COMPLETE and not c.open and (c.program, c.part) in mix]
    return complete[-RECENT_CYCLES:]


def _made_now(known: Sequence[Cycle]) -> set[tuple[str, str]]:
    """Programs and parts of the latest cycles that take turns with the newest one; it alone after a change."""
    if not known:
        return set()
    made = [(c.program, c.part) for c in known]
    run = next((n for n, one in enumerate(reversed(made)) if one != made[-1]), len(made))
    before = made[: len(made) - run]
    return set(made[-MIX_CYCLES:]) if made[-1] in before[-MIX_CYCLES:] else {made[-1]}


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
    return floor(life / consumption + _EXACT) if consumption else None


def cycles_until(life: float, consumption: float | None) -> int | None:
    """Cycles after which a life yet to be used has been used; None when no consumption is known."""
    if life <= 0:
        return 0
    return ceil(life / consumption - _EXACT) if consumption else None


def tool_forecasts(
    lives: Iterable[ToolLife],
    cycles: Iterable[Cycle],
    worked: Sequence[Interval],
    planned_between: PlannedBetween,
    now_us: int,
) -> list[ToolForecast]:
    """Forecasts for the open lives of one machine, in their order; ended lives are passed over.

    ``worked`` is its planned and observed time up to now (``elements.worked``); ``planned_between`` gives its
    planned times ahead.
    """
    known = list(cycles)
    recent = recent_cycles(known)
    outlook = _Outlook(recent, cycle_pace(known, worked, alike=recent), planned_between, now_us)
    return [outlook.of(life) for life in lives if life.open]


@dataclass(frozen=True, slots=True)
class _Outlook:
    recent: Sequence[Cycle]
    pace: Fraction | None
    planned_between: PlannedBetween
    now_us: int

    def of(self, life: ToolLife) -> ToolForecast:
        consumption = consumption_per_cycle(life_used(self.recent, life.tool))
        remaining = None if life.limit is None else life.limit - life.used
        left = None if remaining is None else whole_cycles(remaining, consumption)
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
            remaining=remaining,
            share_used=life.used / life.limit if life.limit else None,
            consumption_per_cycle=consumption,
            cycles_left=left,
            parts_left=self._parts(left),
            warning_at_us=self._at(life, life.warning_level, consumption, cycles_until),
            limit_at_us=self._at(life, life.limit, consumption, whole_cycles),
            locked=life.locked,
            state=life_state(life),
        )

    def _parts(self, cycles_left: int | None) -> int | None:
        made = sum(c.parts for c in self.recent)
        return None if cycles_left is None or not made else cycles_left * made // len(self.recent)

    def _at(
        self, life: ToolLife, level: float | None, consumption: float | None, count: _CountCycles
    ) -> int | None:
        if level is None or life.used >= level:
            return None
        cycles = count(level - life.used, consumption)
        return reach_time(cycles, self.pace, self.planned_between, self.now_us)


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
    Definition("cycle_pace", "complete cycles ÷ planned and observed time", "1/s", "recent pace, waits in", OURS),
    Definition("warning_at", "now + cycles to the warning level ÷ cycle_pace", "time", "in planned time", OURS),
    Definition("limit_at", "now + cycles_left ÷ cycle_pace", "time", "in planned time", OURS),
)
