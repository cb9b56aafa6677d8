"""The spindle load of a tool rises more than is usual at this share of its life.

What is usual, and what counts as a rise, is measure's affair (docs/figures.md); here a rise is held against a
limit.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from swarfline.alerts import Sighting
from swarfline.sentence import N_, Sentence
from swarfline.watch.wording import Seen, cut, text_of, tool_detail, tool_named, tool_subject

NAME = "tool_load_rising"


@dataclass(frozen=True, slots=True)
class ToolLoad:
    """A tool with the load of one program in its present life.

    ``rising``: measure found a rise; None: it cannot be told. ``rise`` is load ÷ what is usual − 1.
    """

    machine: str
    pot_key: str
    tool: str
    name: str
    pot: str
    program: str = ""
    rising: bool | None = None
    rise: float | None = None
    load_pct: float | None = None
    usual_pct: float | None = None


class Settings(Protocol):
    """A part of [alerts.tool_load_rising], with the same meanings."""

    rise_pct: float
    clear_pct: float


def see(load: ToolLoad, settings: Settings) -> Sighting:
    """Whether a tool's load rises; where that cannot be told, as early in a life, it does not."""
    rise = load.rise if load.rising is not None else None
    detail = {
        **tool_detail(load),
        "program": cut(load.program),
        "rise_pct": None if load.rise is None else round(100 * load.rise, 1),
        "load_pct": load.load_pct,
        "usual_pct": load.usual_pct,
    }
    active = bool(load.rising) and rise is not None and rise >= settings.rise_pct / 100
    return Sighting(
        NAME,
        load.machine,
        tool_subject(load),
        active,
        not active and (rise is None or rise < settings.clear_pct / 100),
        text=text_of(say, load.machine, detail),
        detail=detail,
    )


def worst(loads: list[ToolLoad]) -> ToolLoad:
    """Of one tool's programs the one that says most: rising, then steady, then unknown; then the greatest rise."""
    return max(loads, key=lambda n: (bool(n.rising), n.rising is not None, n.rise or 0.0))


_ABOVE = {
    (True, True): N_(
        "{tool}: spindle load in program {program} lies by {rise:.3g} % above what is usual "
        "at this share of its life"
    ),
    (True, False): N_(
        "{tool}: spindle load in program {program} lies above what is usual at this share of its life"
    ),
    (False, True): N_("{tool}: spindle load lies by {rise:.3g} % above what is usual at this share of its life"),
    (False, False): N_("{tool}: spindle load lies above what is usual at this share of its life"),
}
"""By whether the program is known, and the rise."""


def say(seen: Seen) -> Sentence:
    """By how much the load lies above what is usual."""
    rise = seen["rise_pct"]
    text = _ABOVE[bool(seen["program"]), rise is not None]
    values = {"tool": tool_named(seen), "program": seen["program"]}
    return Sentence(text, {**values, "rise": 0.0 if rise is None else rise})
