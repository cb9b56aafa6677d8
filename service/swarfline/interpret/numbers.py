"""What counts as a number in a reading."""

from __future__ import annotations

MOST = 1e10
"""No load, speed, power, life or step of a counter is larger than this; what is, is not believed.

Sums of what is believed stay far from where floats and databases end. 2^32 is below it, since some controls mean
'no limit' by the largest number that they have.
"""

MOST_SHOWN = 2.0**64
"""What a counter may show."""


def number_of(value: object, most: float = MOST) -> float | None:
    """``value`` as a number, None when it is none: a truth value, not a number, infinite or beyond ``most``."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    return value if -most <= value <= most else None
