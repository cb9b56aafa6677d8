"""The catalogue of signals and the Reading: what a machine said.

Standard library only. Times are integer microseconds UTC (``_us``).
"""

from __future__ import annotations

import enum
import re
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import NamedTuple

Value = bool | int | float | str | None
"""What a reading may carry. ``None`` only with quality BAD: nothing usable was said."""


MOST = 1e10
"""No load, speed, power, life or step of a counter is larger than this; what is, is not believed.

Sums of what is believed stay far from where floats and databases end. 2^32 is below it, since some controls mean
'no limit' by the largest number that they have.
"""

MOST_SHOWN = 2.0**64
"""What a counter may show."""


class Quality(enum.IntEnum):
    """The top two bits of an OPC UA status code, as far as interpretation cares."""

    GOOD = 0
    UNCERTAIN = 1
    BAD = 2


class Reading(NamedTuple):
    """One value of one signal of one machine.

    ``source_us`` is the server's time stamp as it came (never rewritten); ``received_us`` is our clock.
    """

    machine: str
    signal: str
    source_us: int
    received_us: int
    value: Value
    quality: int = Quality.GOOD


class Kind(enum.Enum):
    """How a signal's value is read."""

    ENUM = "enum"
    BOOL = "bool"
    TEXT = "text"
    NUMBER = "number"
    COUNTER = "counter"


@dataclass(frozen=True, slots=True)
class Signal:
    """A named quantity of a machine.

    ``choices`` is the closed set of an ENUM; ``unit`` the unit inside (empty: none);
    ``state_like`` tells values that say what happened from values that only wiggle (retention differs).
    """

    name: str
    kind: Kind
    unit: str = ""
    choices: tuple[str, ...] = ()
    state_like: bool = True
    about: str = ""


STATES = ("not_available", "out_of_service", "not_executing", "executing")
MODES = ("automatic", "mdi", "manual", "setup", "service", "other")
PROGRAM_STATES = ("ready", "running", "interrupted", "ended", "aborted")
LIFE_BASES = ("count", "time", "distance")

_SIGNALS = (
    Signal("state", Kind.ENUM, choices=STATES, about="machinery item state of OPC 40001-1"),
    Signal("executing", Kind.BOOL, about="for machines that offer only this instead of a state"),
    Signal("mode", Kind.ENUM, choices=MODES, about="operating mode"),
    Signal("program", Kind.TEXT, about="name of the main program"),
    Signal("program_state", Kind.ENUM, choices=PROGRAM_STATES, about="state of the main program"),
    Signal("cycle_count", Kind.COUNTER, "1", about="counter of finished cycles"),
    Signal("part_count", Kind.COUNTER, "1", about="counter of parts made, good or not"),
    Signal("good_count", Kind.COUNTER, "1", about="counter of parts judged good"),
    Signal("scrap_count", Kind.COUNTER, "1", about="counter of parts judged scrap"),
    Signal("cycle_time_reported", Kind.NUMBER, "s", about="the control's own cycle time; compared, never used"),
    Signal("part", Kind.TEXT, about="part number being made"),
    Signal("lot", Kind.TEXT, about="lot (order) being made"),
    Signal("lot_size", Kind.COUNTER, "1", about="quantity of the lot"),
    Signal("active_tool", Kind.TEXT, about="tool in the spindle, number or name; 0 or empty: none"),
    Signal("tool_changing", Kind.BOOL, about="a tool change is going on"),
    Signal("positioning", Kind.BOOL, about="table or axes position without cutting"),
    Signal("feed_hold", Kind.BOOL, about="feed is held"),
    Signal("spindle_speed", Kind.NUMBER, "1/min", state_like=False, about="actual spindle speed"),
    Signal("spindle_load", Kind.NUMBER, "%", state_like=False, about="spindle load"),
    Signal("feed_rate", Kind.NUMBER, "mm/min", state_like=False, about="actual feed"),
    Signal("feed_override", Kind.NUMBER, "%", about="feed override"),
    Signal("spindle_override", Kind.NUMBER, "%", about="spindle override"),
    Signal("rapid_override", Kind.NUMBER, "%", about="rapid override"),
    Signal("power", Kind.NUMBER, "W", state_like=False, about="electrical power of the machine"),
    Signal("energy", Kind.NUMBER, "Wh", state_like=False, about="energy counter of the machine"),
    Signal("alarm", Kind.BOOL, about="an alarm that stops the machine is active"),
    Signal("alarm_code", Kind.TEXT, about="the alarm's code"),
    Signal("alarm_text", Kind.TEXT, about="the alarm's text"),
)

SIGNALS: Mapping[str, Signal] = MappingProxyType({s.name: s for s in _SIGNALS})
"""Every machine signal by name."""

_TOOL_FIELDS = (
    Signal("number", Kind.TEXT, about="tool number"),
    Signal("pot", Kind.TEXT, about="pot (magazine place)"),
    Signal("name", Kind.TEXT, about="tool name"),
    Signal("life_basis", Kind.ENUM, choices=LIFE_BASES, about="what the life counts"),
    Signal("used", Kind.NUMBER, "basis", about="life used, for lives that count up"),
    Signal("remaining", Kind.NUMBER, "basis", about="life left, for lives that count down"),
    Signal("limit", Kind.NUMBER, "basis", about="life at which the tool is to be changed"),
    Signal("warning_level", Kind.NUMBER, "basis", about="used life at which to warn"),
    Signal("warning_remaining", Kind.NUMBER, "basis", about="life left at which to warn"),
    Signal("locked", Kind.BOOL, about="the tool may not be used"),
)

TOOL_FIELDS: Mapping[str, Signal] = MappingProxyType({s.name: s for s in _TOOL_FIELDS})
"""Fields of one tool; as a signal a field is named ``tools[KEY].FIELD``, KEY being the pot or list place.

A life is counted in 1 (basis count), s (time) or m (distance).
"""

LINK = "link"
"""Pseudo signal of the connection, with the values of LINK_VALUES; it makes gaps replayable."""

LINK_LOST, LINK_BACK, LINK_ALIVE = "lost", "back", "alive"
LINK_RESTORED, LINK_CAUGHT_UP = "restored", "caught_up"
LINK_VALUES = (LINK_LOST, LINK_BACK, LINK_ALIVE, LINK_RESTORED, LINK_CAUGHT_UP)
"""``lost``: source_us is up to when everything had arrived. ``back``: source_us is when the full set of values
was in hand again; the values themselves follow it. ``alive``: source_us is up to when everything has arrived.
``restored``, in place of ``back``: what follows, up to ``caught_up``, was read from the server's history; it goes
on from before the loss, as if there had been none, and may repeat what had arrived before it.
"""

CLOCK_OFFSET = "clock_offset"
"""Pseudo signal: the server's clock minus ours, in µs, to subtract from the source times that follow."""

_TOOL_SIGNAL = re.compile(r"tools\[([^\]]{1,40})\]\.([a-z_]+)")


def tool_signal(key: str, field: str) -> str:
    """Name of the signal of one field of one tool; raises KeyError for an unknown field."""
    if field not in TOOL_FIELDS:
        raise KeyError(f"unknown tool field {field!r}; known: {', '.join(TOOL_FIELDS)}")
    return f"tools[{key}].{field}"


def split_tool_signal(name: str) -> tuple[str, str] | None:
    """(key, field) of a tool signal, or None when ``name`` is no tool signal."""
    match = _TOOL_SIGNAL.fullmatch(name)
    if match is None or match[2] not in TOOL_FIELDS:
        return None
    return match[1], match[2]


def find_signal(name: str) -> Signal | None:
    """The catalogue entry for a machine or tool signal, or None."""
    if name in SIGNALS:
        return SIGNALS[name]
    parts = split_tool_signal(name)
    return TOOL_FIELDS[parts[1]] if parts else None


def is_state_like(name: str) -> bool:
    """True for signals that tell what happened (kept longer than those that only wiggle)."""
    signal = find_signal(name)
    return signal is None or signal.state_like
