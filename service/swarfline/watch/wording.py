"""How the rules name things in the texts of alerts."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any, Protocol, TypeAlias

from swarfline.calendar import from_us
from swarfline.sentence import N_, Sentence
from swarfline.units import lasting

Seen: TypeAlias = Mapping[str, Any]
"""What a rule saw: the detail of an alert, and its ``machine``."""
Say: TypeAlias = Callable[[Seen], Sentence]
"""How a rule says what it saw; KeyError where the detail is of an older version and lacks a part."""

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


def tool_detail(tool: InPot) -> dict[str, object]:
    """What ``tool_named`` needs of a tool, for the detail of an alert."""
    return {"pot": cut(tool.pot or tool.pot_key), "tool": cut(tool.tool), "name": cut(tool.name)}


def tool_named(seen: Seen) -> Sentence:
    """``Tool 7 (end mill 12) in pot 3 on N1``, of what ``tool_detail`` gives and the machine."""
    return Sentence(_TOOLS[bool(seen["tool"]), bool(seen["name"])], seen)


_TOOLS = {
    (True, True): N_("Tool {tool} ({name}) in pot {pot} on {machine}"),
    (True, False): N_("Tool {tool} in pot {pot} on {machine}"),
    (False, True): N_("Tool without a number ({name}) in pot {pot} on {machine}"),
    (False, False): N_("Tool without a number in pot {pot} on {machine}"),
}


def life_named(used: float, limit: float | None, basis: str) -> Sentence:
    """``93 of 100``, ``40 min of 1 h 00 min``, ``93 m``: a life used, in the unit of its basis."""
    if basis == "time":
        if limit is None:
            return Sentence("{used}", {"used": lasting(round(used))})
        return Sentence(N_("{used} of {limit}"), {"used": lasting(round(used)), "limit": lasting(round(limit))})
    metres = basis == "distance"
    if limit is None:
        return Sentence("{used:.6g} m" if metres else "{used:.6g}", {"used": used})
    text = N_("{used:.6g} of {limit:.6g} m") if metres else N_("{used:.6g} of {limit:.6g}")
    return Sentence(text, {"used": used, "limit": limit})


def text_of(say: Say, machine: str, detail: Mapping[str, object]) -> str:
    """The English text of an alert, from its detail alone: so it can be told again in any language."""
    return say({**detail, "machine": machine}).told()


def moment(us: int | None) -> str | None:
    """A time for the detail of an alert: UTC, to the second."""
    return None if us is None else from_us(us).isoformat(timespec="seconds").replace("+00:00", "Z")


def cut(text: str) -> str:
    """A text from outside on one line, printable, and not longer than LONGEST."""
    line = " ".join("".join(c if c.isprintable() else " " for c in text).split())
    return line if len(line) <= LONGEST else line[: LONGEST - 1] + "…"


def listed(names: Sequence[str], count: int | None = None) -> Sentence:
    """``N1, N2, N3, N4 and 6 more``; ``count`` where there are more than ``names`` holds."""
    shown = ", ".join(cut(name) for name in names[:MOST_NAMED])
    more = (len(names) if count is None else count) - MOST_NAMED
    if more <= 0:
        return Sentence("{names}", {"names": shown})
    return Sentence(N_("{names} and {more} more"), {"names": shown, "more": more})
