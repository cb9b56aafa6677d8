"""The cycles of a program have a new level: they last longer, or where asked for, shorter than before.

Where levels begin is measure's affair (docs/figures.md, level steps); here their difference is held against a
limit.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from swarfline.alerts import Sighting
from swarfline.watch.wording import cut, moment, percent

NAME = "cycle_time_drifted"


@dataclass(frozen=True, slots=True)
class Levels:
    """The first and the newest level of the newest cycles of one program and part, in seconds.

    Without a step they are the same; ``since_us`` is when the newest level began.
    """

    machine: str
    program: str
    part: str
    before_s: float
    now_s: float
    since_us: int | None = None


class Settings(Protocol):
    """A part of [alerts.cycle_time_drifted], with the same meanings."""

    longer_pct: float | None
    shorter_pct: float | None
    clear_pct: float


def see(levels: Levels, settings: Settings) -> Sighting:
    """Whether the cycles of a program have become longer or shorter by too much."""
    change = (levels.now_s - levels.before_s) / levels.before_s if levels.before_s > 0 else 0.0
    longer = settings.longer_pct is not None and 100 * change >= settings.longer_pct
    shorter = settings.shorter_pct is not None and -100 * change >= settings.shorter_pct
    active = longer or shorter
    return Sighting(
        NAME,
        levels.machine,
        f"{cut(levels.program)}/{cut(levels.part)}",
        active,
        not active and abs(100 * change) < max(settings.clear_pct, 1e-9),
        text=_text(levels, change),
        detail={
            "program": cut(levels.program),
            "part": cut(levels.part),
            "before_s": round(levels.before_s, 2),
            "now_s": round(levels.now_s, 2),
            "since_at": moment(levels.since_us),
        },
    )


def _text(levels: Levels, change: float) -> str:
    what = f"program {cut(levels.program)}" if levels.program else f"part {cut(levels.part) or 'without a number'}"
    way = "longer" if change >= 0 else "shorter"
    return (
        f"Cycles of {what} on {levels.machine} have become {way} by {percent(abs(change))}: "
        f"{levels.before_s:.1f} s before, {levels.now_s:.1f} s now"
    )
