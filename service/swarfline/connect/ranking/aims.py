"""What is looked for: by signal the ideas in its name, its types, its units, and how it behaves."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from swarfline.connect.ranking.conduct import Conduct

WHOLES = frozenset({"SByte", "Byte", "Int16", "UInt16", "Int32", "UInt32", "Int64", "UInt64", "Enumeration"})
REALS = frozenset({"Float", "Double"})
NUMBERS = WHOLES | REALS
TEXTS = frozenset({"String", "LocalizedText", "ByteString", "QualifiedName"})
FLAGS = frozenset({"Boolean"})

Fits = Callable[[Conduct], bool | None]
"""True: it behaves so; False: it cannot be that; None: says nothing."""


@dataclass(frozen=True, slots=True)
class Aim:
    """A signal: each group of ``ideas`` is one way to name it, and all of a group have to be there."""

    signal: str
    ideas: tuple[tuple[str, ...], ...]
    types: frozenset[str]
    without: tuple[str, ...] = ()
    """Ideas that speak of something else."""
    units: tuple[str, ...] = ()
    fits: Fits = lambda conduct: None
    less: frozenset[str] = frozenset()
    """Types that may be, but are not usual."""


def _counting(conduct: Conduct) -> bool | None:
    if not conduct.changes:
        return None
    return conduct.counts


def _rising(conduct: Conduct) -> bool | None:
    return None if not conduct.changes else conduct.is_number and conduct.falls == conduct.restarts <= 1


def _few(conduct: Conduct) -> bool | None:
    return None if not conduct.changes else conduct.kinds <= 12 and not conduct.wanders


def _noisy(conduct: Conduct) -> bool | None:
    if not conduct.changes or conduct.least is None:
        return None
    return conduct.least >= 0 or None


def _percent(conduct: Conduct) -> bool | None:
    if conduct.least is None or conduct.most is None:
        return None
    return conduct.least >= 0 and conduct.most <= 400


AIMS: tuple[Aim, ...] = (
    Aim(
        "state",
        (("machine", "state"), ("state",)),
        WHOLES | TEXTS,
        ("program", "alarm", "tool", "spindle", "lot", "feed", "mode", "life"),
        fits=_few,
    ),
    Aim("executing", (("running",),), FLAGS, ("program", "alarm", "tool", "hold", "scrap", "feed")),
    Aim("mode", (("mode",),), WHOLES | TEXTS, ("alarm", "program", "tool"), fits=_few),
    Aim("program_state", (("program", "state"),), WHOLES | TEXTS, ("alarm", "tool"), fits=_few),
    Aim("program", (("program", "name"), ("program",)), TEXTS, ("state", "alarm", "tool", "time", "counter")),
    Aim("cycle_count", (("cycle", "counter"),), WHOLES, ("time", "tool", "alarm"), fits=_counting, less=REALS),
    Aim(
        "good_count",
        (("good", "part", "counter"), ("good", "counter"), ("good", "part"), ("good",)),
        WHOLES,
        ("scrap", "tool", "lot"),
        fits=_counting,
        less=REALS,
    ),
    Aim(
        "scrap_count",
        (("scrap", "part", "counter"), ("scrap", "counter"), ("scrap", "part"), ("scrap",)),
        WHOLES,
        ("tool", "lot", "alarm"),
        fits=_counting,
        less=REALS,
    ),
    Aim(
        "part_count",
        (("part", "counter"),),
        WHOLES,
        ("scrap", "good", "lot", "tool", "limit", "cycle"),
        fits=_counting,
        less=REALS,
    ),
    Aim("cycle_time_reported", (("cycle", "time"),), NUMBERS, ("tool", "life", "counter"), ("s", "ms", "min")),
    Aim(
        "part",
        (("article", "number"), ("article",), ("part", "number"), ("part", "name")),
        TEXTS,
        ("program", "lot", "tool", "counter", "alarm"),
    ),
    Aim("lot", (("lot", "number"), ("lot", "name"), ("lot",)), TEXTS, ("counter", "tool", "alarm", "state")),
    Aim(
        "lot_size",
        (("lot", "counter"), ("part", "limit"), ("part", "counter", "limit")),
        WHOLES,
        ("tool", "scrap", "good", "life"),
    ),
    Aim(
        "active_tool",
        (("tool", "active", "number"), ("tool", "active"), ("tool", "number")),
        WHOLES | TEXTS,
        ("life", "change", "locked", "used", "alarm", "limit", "load", "counter"),
        fits=_few,
    ),
    Aim("tool_changing", (("tool", "change"),), FLAGS, ("alarm", "counter", "time")),
    Aim("positioning", (("position",),), FLAGS, ("alarm", "tool")),
    Aim("feed_hold", (("feed", "hold"),), FLAGS, ("alarm",)),
    Aim(
        "spindle_speed",
        (("spindle", "speed"),),
        NUMBERS,
        ("override", "limit", "load", "alarm"),
        ("1/min", "r/min"),
        fits=_noisy,
    ),
    Aim("spindle_load", (("spindle", "load"),), NUMBERS, ("override", "limit", "alarm"), ("%",), fits=_percent),
    Aim("spindle_override", (("spindle", "override"),), NUMBERS, ("alarm",), ("%",), fits=_percent),
    Aim("rapid_override", (("rapid", "override"),), NUMBERS, ("alarm",), ("%",), fits=_percent),
    Aim("feed_override", (("feed", "override"),), NUMBERS, ("rapid", "spindle", "alarm"), ("%",), fits=_percent),
    Aim(
        "feed_rate",
        (("feed", "speed"), ("feed", "active"), ("feed",)),
        NUMBERS,
        ("override", "hold", "rapid", "limit", "alarm", "tool"),
        ("mm/min", "m/min", "mm/s"),
    ),
    Aim("energy", (("energy",),), NUMBERS, ("limit", "alarm"), ("Wh", "kWh", "MWh"), fits=_rising),
    Aim(
        "power", (("power",),), NUMBERS, ("energy", "limit", "alarm", "time", "spindle"), ("W", "kW"), fits=_noisy
    ),
    Aim("alarm_code", (("alarm", "number"),), WHOLES | TEXTS, ("tool", "counter", "name")),
    Aim("alarm_text", (("alarm", "name"),), TEXTS, ("tool", "counter", "number")),
    Aim(
        "alarm",
        (("alarm", "active"), ("alarm", "running"), ("alarm", "state"), ("alarm",)),
        FLAGS,
        ("tool", "counter", "warning"),
    ),
)
"""Signals of a machine; a variable goes to the aim that it fits best."""

TOOL_AIMS: tuple[Aim, ...] = (
    Aim("number", (("tool", "number"),), WHOLES | TEXTS, ("life", "change", "active", "alarm")),
    Aim("name", (("tool", "name"),), TEXTS, ("life", "alarm", "program")),
    Aim("life_basis", (("tool", "life", "kind"),), WHOLES | TEXTS),
    Aim("remaining", (("tool", "life", "remaining"), ("tool", "remaining")), NUMBERS, ("kind",)),
    Aim("warning_level", (("tool", "life", "warning"), ("tool", "warning")), NUMBERS, ("alarm", "kind")),
    Aim("limit", (("tool", "life", "limit"),), NUMBERS, ("remaining", "kind", "warning")),
    Aim("used", (("tool", "life", "used"), ("tool", "life")), NUMBERS, ("remaining", "kind", "limit", "warning")),
    Aim("locked", (("tool", "locked"),), FLAGS),
)
"""Fields of tools, as arrays over the pots or with the pot's number in the name."""
