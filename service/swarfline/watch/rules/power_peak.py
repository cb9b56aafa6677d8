"""The mean power of a quarter of an hour is above its limit, for the plant or a cell.

The quarter that runs counts too as soon as the energy it has taken so far is more than the limit allows for all of
it: from then on it cannot be kept any more. Quarters are those of UTC, as in the figure ``demand``.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from swarfline.alerts import Sighting
from swarfline.watch.wording import moment

NAME = "power_peak"

SEEN = 0.9
"""A quarter that was seen to a smaller share clears nothing."""


@dataclass(frozen=True, slots=True)
class Quarters:
    """The mean power in W of the last whole quarter and, so far, of the one that runs; None: nothing is known.

    ``coverage`` is the share of the whole quarter that was seen; below 1 its power is a lower bound. ``name`` says
    what it is of: empty for the plant, else a cell.
    """

    name: str
    whole_w: float | None
    coverage: float
    running_w: float | None
    running_us: int


class Settings(Protocol):
    """A part of [alerts.power_peak], with the same meanings."""

    limit_kw: float | None
    clear_pct: float


def subject(cell: str) -> str:
    """``plant``, or ``cell/north``."""
    return f"cell/{cell}" if cell else "plant"


def see(quarters: Quarters, settings: Settings) -> Sighting:
    """Whether a limit is broken; without a limit nothing is."""
    limit = None if settings.limit_kw is None else settings.limit_kw * 1000
    known = [w for w in (quarters.whole_w, quarters.running_w) if w is not None]
    highest = max(known, default=None)
    active = limit is not None and highest is not None and highest > limit
    return Sighting(
        NAME,
        "",
        subject(quarters.name),
        active,
        limit is None or (not active and _well_below(quarters, limit * settings.clear_pct / 100)),
        text=_text(quarters, settings),
        detail={
            "limit_kw": settings.limit_kw,
            "demand_kw": None if highest is None else round(highest / 1000, 2),
            "running_quarter_at": moment(quarters.running_us),
        },
    )


def _well_below(quarters: Quarters, level: float) -> bool:
    whole, running = quarters.whole_w, quarters.running_w
    return whole is not None and whole < level and quarters.coverage >= SEEN and (running or 0.0) < level


def _text(quarters: Quarters, settings: Settings) -> str:
    what = f"Cell {quarters.name}" if quarters.name else "The plant"
    limit = "" if settings.limit_kw is None else f" of {settings.limit_kw:g} kW"
    return f"{what} takes more power in a quarter of an hour than its limit{limit}"
