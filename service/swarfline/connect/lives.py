"""Tool life arithmetic of OPC 40501-1: a value with start, warning and limit, counting up or down.

Pure. Counting up: used = value − start, of a total limit − start. Counting down: remaining = value − limit, of
a total start − limit. A missing start (up) or limit (down) is zero; any other missing part leaves what depends
on it unsaid.
"""

from __future__ import annotations

import math
from typing import Any

PARTS = ("value", "start", "warning", "limit")
"""The raw parts of a life; each is a node of its own."""

UP_FIELDS = {"used": ("value", "start"), "limit": ("limit", "start"), "warning_level": ("warning", "start")}
DOWN_FIELDS = {
    "remaining": ("value", "limit"),
    "limit": ("start", "limit"),
    "warning_remaining": ("warning", "limit"),
}
"""Field → (minuend, subtrahend)."""


def as_number(raw: Any) -> float | None:
    """A finite float, or None; unsigned raw values must not be subtracted as they are."""
    try:
        value = float(raw)
    except (TypeError, ValueError, OverflowError):
        return None
    return value if math.isfinite(value) else None


class Life:
    """One life entry. ``factor`` converts its unit to ours (s, m or 1)."""

    def __init__(self, counting_up: bool, factor: float, parts: dict[str, float | None]) -> None:
        self._fields = UP_FIELDS if counting_up else DOWN_FIELDS
        self._zero = "start" if counting_up else "limit"
        self._factor = factor
        self._parts: dict[str, float | None] = dict.fromkeys(PARTS)
        self._parts.update(parts)
        self._said: dict[str, float | None] = {}

    @property
    def fields(self) -> tuple[str, ...]:
        """The tool fields that this life can give."""
        return tuple(self._fields)

    def update(self, part: str, value: float | None) -> list[tuple[str, float | None]]:
        """Take a new raw part; the fields to say now, None where it cannot be told any more.

        The field that the part leads is always said (its node has spoken); others only when they changed.
        """
        self._parts[part] = value
        return [
            (field, now)
            for field, (first, _) in self._fields.items()
            for now in (self._field(field),)
            if first == part or (field in self._said and self._said[field] != now)
            if self._remember(field, now)
        ]

    def _field(self, field: str) -> float | None:
        first, second = self._fields[field]
        minuend, subtrahend = self._parts[first], self._parts[second]
        if subtrahend is None and second == self._zero:
            subtrahend = 0.0
        if minuend is None or subtrahend is None:
            return None
        return (minuend - subtrahend) * self._factor

    def _remember(self, field: str, now: float | None) -> bool:
        self._said[field] = now
        return True
