"""What a survey sees on a server and what it proposes: the words shared by walk, ranking and plant file."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

Sureness = Literal["sure", "likely", "guess"]
"""sure: a standard says so; likely: name, type and behaviour agree; guess: one of several, a person decides."""


_WIDTHS = {"Byte": 8, "SByte": 8, "UInt16": 16, "Int16": 16, "UInt32": 32, "Int32": 32, "UInt64": 64, "Int64": 64}


@dataclass(frozen=True, slots=True)
class Variable:
    """One variable of a server, as the walk saw it.

    ``node`` is its NodeId with the namespace by URI (``nsu=URI;s=…``), ``path`` the (namespace URI, browse name)
    of every step from the Objects folder to it. ``type`` is the built-in type's name (``UInt16``), ``length``
    the number of elements of an array and None for a single value; ``unit`` a symbol or the server's own words;
    ``texts`` the names of an enumeration's numbers. ``value`` is as it was read once: plain or a list of plain
    values, None where it was not readable (``quality`` tells).
    """

    node: str
    path: tuple[tuple[str, str], ...]
    display: str = ""
    description: str = ""
    type: str = ""
    length: int | None = None
    unit: str | None = None
    texts: Mapping[str, str] | None = None
    value: object = None
    quality: Literal["good", "uncertain", "bad"] = "good"
    keeps_history: bool = False

    @property
    def width(self) -> int | None:
        """Bits of a whole number of a built-in type, which a counter rolls over with; None for other types."""
        return _WIDTHS.get(self.type)

    @property
    def name(self) -> str:
        """The browse name without its namespace."""
        return self.path[-1][1]


@dataclass(frozen=True, slots=True)
class Course:
    """How a variable's value went while it was watched: (source time µs UTC, plain value) in order."""

    samples: tuple[tuple[int, object], ...]
    watched_s: float


@dataclass(frozen=True, slots=True)
class Proposal:
    """A node for a signal, the reason in words for a person, and how sure it is.

    ``signal`` is a name of the catalogue, or ``tools[POT].field``. What is None needs no entry in the plant file.
    ``rivals`` are the nodes of the next best candidates, best first; ``question`` is what a person must decide,
    empty where nothing is open.
    """

    signal: str
    variable: Variable
    sureness: Sureness
    reason: str
    question: str = ""
    rivals: tuple[str, ...] = ()
    unit: str | None = None
    scale: float | None = None
    index: int | None = None
    width: int | None = None
    values: Mapping[str, str | bool] | None = None
