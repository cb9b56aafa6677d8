"""A tool is near its limit.

Raised at the control's warning level, at a share of the limit, or when the limit is forecast to come within some
time or cycles, before the lot is done or before the shift ends. Cleared when the life lies well below all of that
again, as it does when a new life begins. A tool that left its pot is no longer seen, which clears its alert.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Protocol

from swarfline.alerts import Sighting
from swarfline.sentence import N_, Sentence
from swarfline.watch.wording import (
    InUse,
    Seen,
    life_named,
    moment,
    text_of,
    tool_detail,
    tool_named,
    tool_subject,
)

NAME = "tool_near_limit"

UNSURE = 0.5
"""Without a known consumption the alert clears only under this share of the level."""


class Forecast(InUse, Protocol):
    """What the rule needs to know of one tool: a part of measure's ToolForecast, with the same meanings."""

    @property
    def warning_level(self) -> float | None: ...
    @property
    def cycles_left(self) -> int | None: ...
    @property
    def limit_at_us(self) -> int | None: ...


class Settings(Protocol):
    """A part of [alerts.tool_near_limit], with the same meanings."""

    control_level: bool
    share_pct: float | None
    lead_min: float | None
    cycles: int | None
    before_lot_end: bool
    before_shift_end: bool
    clear_pct: float
    clear_factor: float


def see(
    tool: Forecast,
    settings: Settings,
    now_us: int,
    lot_cycles: int | None = None,
    shift_end_us: int | None = None,
) -> Sighting:
    """Whether a tool is near its limit.

    ``lot_cycles`` are those until the running lot is done, ``shift_end_us`` the end of the shift that runs; None:
    not known or none.
    """
    ahead = _Ahead(tool, settings, now_us, lot_cycles, shift_end_us)
    reasons = [*_reached(tool, settings), *ahead.reasons(1.0)]
    clear = not reasons and _well_below(tool, settings) and not any(ahead.reasons(settings.clear_factor))
    detail = _detail(tool, reasons)
    return Sighting(
        NAME,
        tool.machine,
        tool_subject(tool),
        bool(reasons),
        clear,
        text=text_of(say, tool.machine, detail),
        detail=detail,
    )


LIMIT, LEVEL, SHARE = "limit", "warning level", "share"
LEAD, CYCLES, LOT, SHIFT = "lead time", "cycles", "before the lot is done", "before the shift ends"
"""Why it is raised, as the detail tells."""


def _levels(tool: Forecast, settings: Settings) -> Iterator[tuple[str, float]]:
    """What the used life must not reach, by name."""
    if tool.limit is not None:
        yield LIMIT, tool.limit
        if settings.share_pct is not None:
            yield SHARE, tool.limit * settings.share_pct / 100
    if settings.control_level and tool.warning_level is not None:
        yield LEVEL, tool.warning_level


def _reached(tool: Forecast, settings: Settings) -> Iterator[str]:
    return (name for name, level in _levels(tool, settings) if tool.used >= level)


def _well_below(tool: Forecast, settings: Settings) -> bool:
    level = min((level for _, level in _levels(tool, settings)), default=None)
    if level is None:
        return True
    share = settings.clear_pct / 100
    return tool.used < level * (min(UNSURE, share) if tool.consumption_per_cycle is None else share)


class _Ahead:
    """What the forecast says, for spans that are made longer by a factor."""

    def __init__(
        self, tool: Forecast, settings: Settings, now_us: int, lot_cycles: int | None, shift_end_us: int | None
    ) -> None:
        self._left = tool.cycles_left
        self._until_us = None if tool.limit_at_us is None else tool.limit_at_us - now_us
        self._lead_us = None if settings.lead_min is None else settings.lead_min * 60e6
        self._cycles = settings.cycles
        self._lot = lot_cycles if settings.before_lot_end else None
        self._shift_us = shift_end_us - now_us if settings.before_shift_end and shift_end_us is not None else None

    def reasons(self, factor: float) -> list[str]:
        """The spans that the limit lies in."""
        within = (
            (LEAD, self._until_us, self._lead_us),
            (CYCLES, self._left, self._cycles),
            # as many cycles as the lot needs are enough
            (LOT, None if self._left is None else self._left + 1, self._lot),
            (SHIFT, self._until_us, self._shift_us),
        )
        return [
            name for name, away, span in within if away is not None and span is not None and away <= factor * span
        ]


def _detail(tool: Forecast, reasons: list[str]) -> dict[str, object]:
    return {
        **tool_detail(tool),
        "basis": tool.basis,
        "used": tool.used,
        "limit": tool.limit,
        "warning_level": tool.warning_level,
        "consumption_per_cycle": tool.consumption_per_cycle,
        "cycles_left": tool.cycles_left,
        "limit_at": moment(tool.limit_at_us),
        "because_of": reasons,
    }


def say(seen: Seen) -> Sentence:
    """How much of its life a tool has used, and when it is due."""
    used = life_named(seen["used"], seen["limit"], seen["basis"])
    values = {"tool": tool_named(seen), "used": used, "outlook": _outlook(seen)}
    return Sentence(N_("{tool}: {used} used; {outlook}"), values)


def _outlook(seen: Seen) -> Sentence:
    if LIMIT in seen["because_of"]:
        return Sentence(N_("past its limit"))
    if seen["consumption_per_cycle"] == 0:
        return Sentence(N_("not used by what is made now"))
    if seen["cycles_left"] is None:
        return Sentence(N_("cycles left not known"))
    if LOT in seen["because_of"]:
        return Sentence(N_("{left}: due before the lot is done"), {"left": _left(seen["cycles_left"])})
    if SHIFT in seen["because_of"]:
        return Sentence(N_("{left}: due before the shift ends"), {"left": _left(seen["cycles_left"])})
    return _left(seen["cycles_left"])


def _left(cycles: int) -> Sentence:
    if cycles == 1:
        return Sentence(N_("about 1 cycle left"))
    return Sentence(N_("about {cycles} cycles left"), {"cycles": cycles})
