"""How the rules name things in the texts of alerts."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

from swarfline.calendar import from_us
from swarfline.units import lasting

LONGEST = 160
"""Texts of machines and servers are cut to so many characters."""
MOST_NAMED = 4
"""So many of a list are named, the rest is counted."""


class InPot(Protocol):
    """A tool in its pot: a part of measure's ToolForecast and of the fact ToolLife, with the same meanings."""

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


class InUse(InPot, Protocol):
    """A tool and how far its life has gone: a part of measure's ToolForecast, with the same meanings."""

    @property
    def basis(self) -> str: ...
    @property
    def used(self) -> float: ...
    @property
    def limit(self) -> float | None: ...
    @property
    def consumption_per_cycle(self) -> float | None: ...


def tool_subject(tool: InPot) -> str:
    """What an alert of a tool is about: this tool in this pot."""
    return f"{tool.pot_key}/{tool.tool}"


def tool_named(tool: InPot) -> str:
    """``Tool 7 (end mill 12) in pot 3 on N1``."""
    name = f" ({cut(tool.name)})" if tool.name else ""
    number = cut(tool.tool) or "without a number"
    return f"Tool {number}{name} in pot {tool.pot or tool.pot_key} on {tool.machine}"


def life_named(used: float, limit: float | None, basis: str) -> str:
    """``93 of 100``, ``40 min of 1 h 00 min``, ``93 m``: a life used, in the unit of its basis."""
    if basis == "time":
        return lasting(round(used)) if limit is None else f"{lasting(round(used))} of {lasting(round(limit))}"
    unit = " m" if basis == "distance" else ""
    return f"{used:.6g}{unit}" if limit is None else f"{used:.6g} of {limit:.6g}{unit}"


def percent(share: float) -> str:
    """A share as ``7.5 %``."""
    return f"{100 * share:.3g} %"


def moment(us: int | None) -> str | None:
    """A time for the detail of an alert: UTC, to the second."""
    return None if us is None else from_us(us).isoformat(timespec="seconds").replace("+00:00", "Z")


def cut(text: str) -> str:
    """A text from outside on one line, printable, and not longer than LONGEST."""
    line = " ".join("".join(c if c.isprintable() else " " for c in text).split())
    return line if len(line) <= LONGEST else line[: LONGEST - 1] + "…"


def listed(names: Sequence[str]) -> str:
    """``N1, N2, N3, N4 and 6 more``."""
    shown = ", ".join(cut(name) for name in names[:MOST_NAMED])
    return shown if len(names) <= MOST_NAMED else f"{shown} and {len(names) - MOST_NAMED} more"
