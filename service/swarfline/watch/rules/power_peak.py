"""The mean power of a quarter of an hour is above its limit, for the plant or a cell.

The quarter that runs counts too as soon as the energy it has taken so far is more than the limit allows for all of
it: from then on it cannot be kept any more. Quarters are those of UTC, as in the figure ``demand``.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from swarfline.alerts import Sighting
from swarfline.sentence import N_, Sentence
from swarfline.watch.wording import Seen, moment, text_of

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
    detail: dict[str, object] = {
        "cell": quarters.name,
        "limit_kw": settings.limit_kw,
        "demand_kw": None if highest is None else round(highest / 1000, 2),
        "running_quarter_at": moment(quarters.running_us),
    }
    return Sighting(
        NAME,
        "",
        subject(quarters.name),
        active,
        limit is None or (not active and _well_below(quarters, limit * settings.clear_pct / 100)),
        text=text_of(say, "", detail),
        detail=detail,
    )


def _well_below(quarters: Quarters, level: float) -> bool:
    whole, running = quarters.whole_w, quarters.running_w
    return whole is not None and whole < level and quarters.coverage >= SEEN and (running or 0.0) < level


_ABOVE = {
    (False, False): N_("The plant takes more power in a quarter of an hour than its limit"),
    (False, True): N_("The plant takes more power in a quarter of an hour than its limit of {limit:g} kW"),
    (True, False): N_("Cell {cell} takes more power in a quarter of an hour than its limit"),
    (True, True): N_("Cell {cell} takes more power in a quarter of an hour than its limit of {limit:g} kW"),
}
"""By whether it is of a cell, and whether it has a limit."""


def say(seen: Seen) -> Sentence:
    """What takes more than which limit."""
    limit = seen["limit_kw"]
    text = _ABOVE[bool(seen["cell"]), limit is not None]
    return Sentence(text, {"cell": seen["cell"], "limit": 0 if limit is None else limit})
