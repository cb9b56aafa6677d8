"""A tool is near its limit or past it.

Raised when the warning level or the limit is reached, or when the limit is nearer than the lead time. Cleared
when the life lies well below all of that again, as it does when a new life begins. A tool that left its pot is no
longer seen; the judge clears it.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Protocol

from swarfline.alerts import URGENT, WARNING, Sighting
from swarfline.calendar import from_us
from swarfline.units import lasting

NAME = "tool_near_limit"
ABOUT = "a tool reached its warning level or its limit, or will reach the limit within the lead time"

BELOW = 0.95
"""Share of the level that the used life must be under for the alert to clear."""

MARGIN = 1.2
"""Multiple of the lead time that the limit must be away for the alert to clear."""

UNSURE = 0.5
"""Without a known consumption the alert clears only under this share of the level."""


class Forecast(Protocol):
    """What the rule needs to know of one tool: a part of measure's ToolForecast, with the same meanings."""

    @property
    def machine(self) -> str: ...
    @property
    def pot_key(self) -> str: ...
    @property
    def tool(self) -> str: ...
    @property
    def name(self) -> str: ...
    @property
    def pot(self) -> str: ...
    @property
    def basis(self) -> str: ...
    @property
    def used(self) -> float: ...
    @property
    def limit(self) -> float | None: ...
    @property
    def warning_level(self) -> float | None: ...
    @property
    def consumption_per_cycle(self) -> float | None: ...
    @property
    def cycles_left(self) -> int | None: ...
    @property
    def limit_at_us(self) -> int | None: ...


def see(forecasts: Iterable[Forecast], lead_us: int, now_us: int) -> list[Sighting]:
    """One sighting per tool, whether near its limit or not, so that tools that are gone can be told."""
    return [_sighting(tool, lead_us, now_us) for tool in forecasts]


def subject(pot_key: str, tool: str) -> str:
    """What an alert is about: this tool in this pot."""
    return f"{pot_key}/{tool}"


def _sighting(tool: Forecast, lead_us: int, now_us: int) -> Sighting:
    past = tool.limit is not None and tool.used >= tool.limit
    warned = tool.warning_level is not None and tool.used >= tool.warning_level
    active = past or warned or _within(tool, lead_us, now_us)
    return Sighting(
        NAME,
        tool.machine,
        subject(tool.pot_key, tool.tool),
        active,
        not active and _well_below(tool) and not _within(tool, MARGIN * lead_us, now_us),
        URGENT if past else WARNING,
        _text(tool, past),
        _detail(tool),
    )


def _within(tool: Forecast, lead_us: float, now_us: int) -> bool:
    return tool.limit_at_us is not None and tool.limit_at_us - now_us <= lead_us


def _well_below(tool: Forecast) -> bool:
    level = tool.limit if tool.warning_level is None else tool.warning_level
    if level is None:
        return True
    return tool.used < level * (UNSURE if tool.consumption_per_cycle is None else BELOW)


def _text(tool: Forecast, past: bool) -> str:
    name = f" ({tool.name})" if tool.name else ""
    who = f"Tool {tool.tool or 'without a number'}{name} in pot {tool.pot or tool.pot_key} on {tool.machine}"
    return f"{who}: {_used(tool)} used; {_outlook(tool, past)}"


def _used(tool: Forecast) -> str:
    if tool.basis == "time":
        used = lasting(round(tool.used))
        return used if tool.limit is None else f"{used} of {lasting(round(tool.limit))}"
    unit = " m" if tool.basis == "distance" else ""
    return f"{tool.used:.6g}{unit}" if tool.limit is None else f"{tool.used:.6g} of {tool.limit:.6g}{unit}"


def _outlook(tool: Forecast, past: bool) -> str:
    if past:
        return "past its limit"
    if tool.consumption_per_cycle == 0:
        return "not used by what is made now"
    if tool.cycles_left is None:
        return "cycles left not known"
    return f"about {tool.cycles_left} {'cycle' if tool.cycles_left == 1 else 'cycles'} left"


def _detail(tool: Forecast) -> dict[str, object]:
    at = tool.limit_at_us
    return {
        "pot": tool.pot or tool.pot_key,
        "tool": tool.tool,
        "used": tool.used,
        "limit": tool.limit,
        "warning_level": tool.warning_level,
        "cycles_left": tool.cycles_left,
        "limit_at": None if at is None else from_us(at).isoformat(timespec="seconds").replace("+00:00", "Z"),
    }
