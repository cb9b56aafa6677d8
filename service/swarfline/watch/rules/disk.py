"""The disk that the database lies on runs full.

Without room nothing can be stored: readings wait in memory, and when that is full too, they become gaps.
"""

from __future__ import annotations

from typing import Protocol

from swarfline.alerts import URGENT, Sighting
from swarfline.sentence import N_, Sentence
from swarfline.watch.wording import Seen, text_of

NAME = "disk"


class Settings(Protocol):
    """A part of [alerts.disk], with the same meanings."""

    limit_gb: float
    clear_gb: float


def see(free_bytes: int, settings: Settings) -> Sighting:
    """Whether there is too little room."""
    free_gb = free_bytes / 1e9
    active = free_gb < settings.limit_gb
    detail: dict[str, object] = {"free_gb": round(free_gb, 2), "limit_gb": settings.limit_gb}
    return Sighting(
        NAME,
        "",
        "plant",
        active,
        not active and free_gb >= settings.clear_gb,
        URGENT,
        text_of(say, "", detail),
        detail,
    )


def say(seen: Seen) -> Sentence:
    """How much room is left."""
    text = N_("The disk with the database has {free:.1f} GB left, less than {limit:g} GB")
    return Sentence(text, {"free": seen["free_gb"], "limit": seen["limit_gb"]})
