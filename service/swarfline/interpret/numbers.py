"""What counts as a number in a reading."""

from __future__ import annotations


def number_of(value: object) -> float | None:
    """``value`` as a number, None when it is none (a truth value is none either)."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    return value
