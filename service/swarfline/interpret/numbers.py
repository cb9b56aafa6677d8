"""What counts as a number in a reading."""

from __future__ import annotations

from swarfline.signals import MOST, MOST_SHOWN

__all__ = ["MOST", "MOST_SHOWN", "number_of"]


def number_of(value: object, most: float = MOST) -> float | None:
    """``value`` as a number, None when it is none: a truth value, not a number, infinite or beyond ``most``."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    return value if -most <= value <= most else None
