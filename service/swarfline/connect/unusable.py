"""What cannot be used of what a server says: the closed set of kinds, and the counts with the last examples.

Pure. Nothing here grows without end, whatever a server sends: kinds are few, examples are short and at most so
many.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping
from datetime import datetime
from types import MappingProxyType
from typing import Any
from uuid import UUID

from swarfline.connect.inspection import legible

NO_VALUE = "no_value"
WRONG_TYPE = "wrong_type"
NOT_FINITE = "not_finite"
OUT_OF_RANGE = "out_of_range"
NEGATIVE_COUNTER = "negative_counter"
FRACTION_IN_COUNTER = "fraction_in_counter"
NO_ELEMENT = "no_element"
UNMAPPED_CODE = "unmapped_code"
NOT_DECODED = "not_decoded"
TEXT_ALTERED = "text_altered"
TIME_NOT_BELIEVED = "time_not_believed"

KINDS: Mapping[str, str] = MappingProxyType(
    {
        NO_VALUE: "no value (null) though the status is not Bad",
        WRONG_TYPE: "of a type that this signal cannot have",
        NOT_FINITE: "not a number, or infinite",
        OUT_OF_RANGE: "larger than anything a machine tool shows",
        NEGATIVE_COUNTER: "a counter below zero, without a width",
        FRACTION_IN_COUNTER: "a counter with a fraction",
        NO_ELEMENT: "an array without the element that is mapped, or no array",
        UNMAPPED_CODE: "a code without a meaning",
        NOT_DECODED: "a structure, or bytes, that cannot be decoded",
        TEXT_ALTERED: "a text cut to length or rid of characters that none can read; what is left is used",
        TIME_NOT_BELIEVED: "a source time far from the server's clock; the value is used",
    }
)
"""Every kind of thing ignored, in words."""

MOST_EXAMPLES = 100
"""Signals of a server whose last example is kept; tools may come and go under ever new names."""
_PLAIN = (str, int, float, bool, datetime, UUID)
_TURNING = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
"""Marks that turn the order of what follows: a text could show what it is not."""


class Unusable(ValueError):
    """A value that cannot be one of the signal; ``kind`` says why, as one of KINDS."""

    def __init__(self, kind: str) -> None:
        super().__init__(KINDS[kind])
        self.kind = kind


class Unmapped(Unusable):
    """The node shows a code that nobody gave a meaning."""

    def __init__(self, code: object) -> None:
        super().__init__(UNMAPPED_CODE)
        self.code = shown(code)


class Altered(Unusable):
    """Not all of a text can be used; ``value`` can."""

    def __init__(self, value: str) -> None:
        super().__init__(TEXT_ALTERED)
        self.value = value


def shown(raw: object) -> str:
    """A raw value as an example: short, legible, and not unrolled."""
    if raw is None:
        return "null"
    if isinstance(raw, _PLAIN):
        return legible(raw)
    if isinstance(raw, list | tuple):
        return f"an array of {len(raw)}"
    if isinstance(raw, bytes):
        return f"{len(raw)} bytes"
    return legible(type(raw).__name__)


def kind_of(problem: Exception, raw: Any) -> str:
    """Why ``raw`` could not be converted."""
    if isinstance(problem, Unusable):
        return problem.kind
    if raw is None:
        return NO_VALUE
    if isinstance(raw, float) and raw - raw != 0.0:
        return NOT_FINITE
    if isinstance(problem, ArithmeticError):
        return OUT_OF_RANGE
    return WRONG_TYPE if isinstance(raw, (*_PLAIN, list, tuple, bytes)) else NOT_DECODED


def clean(text: str) -> str:
    """``text`` without what databases refuse and screens obey: control characters, halves of characters, marks
    that turn the direction. White space becomes a space, the rest a replacement character.
    """
    return "".join(_clean(character) for character in text)


def _clean(character: str) -> str:
    if character.isspace():
        return " "
    unfit = unicodedata.category(character) in ("Cc", "Cs", "Cn") or character in _TURNING
    return "\ufffd" if unfit else character


class Ignored:
    """How often what was ignored, by kind, and the last example by ``machine/signal``: (kind, value as text)."""

    __slots__ = ("counts", "examples")

    def __init__(self) -> None:
        self.counts: dict[str, int] = {}
        self.examples: dict[str, tuple[str, str]] = {}

    def note(self, machine: str, signal: str, kind: str, raw: object) -> None:
        """Count one; the oldest example makes room for it."""
        self.counts[kind] = self.counts.get(kind, 0) + 1
        key = f"{machine}/{signal}"
        self.examples.pop(key, None)
        self.examples[key] = (kind, shown(raw))
        if len(self.examples) > MOST_EXAMPLES:
            del self.examples[next(iter(self.examples))]
