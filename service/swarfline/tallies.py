"""The tally: what one machine's facts of one day add up to, so that a year is read as 366 rows.

Standard library only. A tally is worth as much as the facts: it is thrown away in the transaction that changes one
of them, and holds for the planned times that it was made by.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Tally:
    """Sums over [start, end), a day of the plant's calendar. ``made_by`` names the planned times behind it.

    ``inside_us`` and ``outside_us``: µs by condition, in the order of CONDITIONS, in planned time and outside.
    ``counts``: (part, kind, whether across a gap, quantity).
    """

    machine: str
    start_us: int
    end_us: int
    made_by: str
    inside_us: Sequence[int] = ()
    outside_us: Sequence[int] = ()
    counts: Sequence[tuple[str, str, bool, int]] = ()
