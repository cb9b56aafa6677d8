"""A server's clock differs from ours by more than its limit.

The measured offset is taken out of every time, so figures stay right; but files, shifts and people at the machine
go by a wrong clock, and a clock that runs away is a sign of trouble.
"""

from __future__ import annotations

from typing import Protocol

from swarfline.alerts import Sighting
from swarfline.sentence import N_, Sentence
from swarfline.watch.wording import Seen, text_of

NAME = "clock_offset"


class Settings(Protocol):
    """A part of [alerts.clock_offset], with the same meanings."""

    limit_s: float
    clear_s: float


def see(server: str, offset_us: int | None, settings: Settings) -> Sighting:
    """Whether a clock is off; ``offset_us`` is the server's clock minus ours, None: not measured."""
    away_s = None if offset_us is None else abs(offset_us) / 1e6
    detail: dict[str, object] = {"server": server, "offset_s": None if offset_us is None else offset_us / 1e6}
    active = away_s is not None and away_s >= settings.limit_s
    return Sighting(
        NAME,
        "",
        f"server/{server}",
        active,
        away_s is not None and not active and away_s < settings.clear_s,
        text=text_of(say, "", detail),
        detail=detail,
    )


def say(seen: Seen) -> Sentence:
    """How far the clock is off."""
    offset_s = seen["offset_s"] or 0.0
    ahead = N_("The clock of server {server} is {away:.0f} s ahead of ours")
    behind = N_("The clock of server {server} is {away:.0f} s behind ours")
    return Sentence(ahead if offset_s > 0 else behind, {"server": seen["server"], "away": abs(offset_s)})
