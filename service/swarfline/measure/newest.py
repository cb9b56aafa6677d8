"""The newest parts of a machine, and how they were judged."""

from __future__ import annotations

from collections.abc import Iterable

from swarfline.facts import Count
from swarfline.measure.production import Correction, Quantities, counted


def newest_parts(
    counts: Iterable[Count], corrections: Iterable[Correction], least: int | None = None
) -> Quantities:
    """What was made of late: back to the moment at which there were ``least`` parts, or all that is given.

    Counts and corrections of one moment stay together, so there may be more parts than asked for.
    """
    by_moment: dict[int, Quantities] = {}
    for time_us, change in (
        *((c.time_us, counted(c)) for c in counts),
        *((c.time_us, c.change) for c in corrections),
    ):
        by_moment[time_us] = by_moment.get(time_us, Quantities()) + change
    made = Quantities()
    for time_us in sorted(by_moment, reverse=True):
        if least is not None and made.total >= least:
            break
        made = made + by_moment[time_us]
    return made
