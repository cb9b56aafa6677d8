"""The share of scrap among the newest parts, or those of the shift, is above its limit."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from swarfline.alerts import Sighting
from swarfline.sentence import N_, Sentence
from swarfline.watch.wording import Seen, text_of

NAME = "scrap_rate"


@dataclass(frozen=True, slots=True)
class Made:
    """Parts made on one machine, of late or in the shift that runs, and how many of them are scrap."""

    machine: str
    of_shift: bool
    total: int
    scrap: int


class Settings(Protocol):
    """A part of [alerts.scrap_rate], with the same meanings."""

    limit_pct: float
    clear_pct: float
    least_parts: int
    least_scrap: int


def see(made: Made, settings: Settings) -> Sighting:
    """Whether too much is scrap; with too few parts to tell, none is raised and nothing scrapped is clear."""
    share = made.scrap / made.total if made.total > 0 else 0.0
    enough = made.total >= settings.least_parts
    active = enough and made.scrap >= settings.least_scrap and 100 * share >= settings.limit_pct
    detail: dict[str, object] = {
        "of_shift": made.of_shift,
        "parts": made.total,
        "scrap": made.scrap,
        "scrap_pct": round(100 * share, 2),
    }
    below = 100 * share < settings.clear_pct if enough else made.scrap == 0
    return Sighting(
        NAME,
        made.machine,
        "machine",
        active,
        not active and below,
        text=text_of(say, made.machine, detail),
        detail=detail,
    )


def say(seen: Seen) -> Sentence:
    """How many of which parts are scrap."""
    of_shift = N_("{scrap} of {parts} parts of this shift on {machine} are scrap: {share:.3g} %")
    last = N_("{scrap} of {parts} parts made last on {machine} are scrap: {share:.3g} %")
    values = {"scrap": seen["scrap"], "parts": seen["parts"], "machine": seen["machine"]}
    return Sentence(of_shift if seen["of_shift"] else last, {**values, "share": seen["scrap_pct"]})
