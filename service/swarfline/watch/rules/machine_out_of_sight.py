"""A server is connected, but tells nothing usable of one of its machines in planned time.

As where a gateway has lost its control, a node has gone, or the state comes with a bad status. When the server
itself is lost, that is the affair of the rule ``connection_lost``. The facts tell since when.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from swarfline.alerts import Sighting
from swarfline.sentence import N_, Sentence
from swarfline.watch.wording import Seen, moment, text_of

NAME = "machine_out_of_sight"


@dataclass(frozen=True, slots=True)
class Sight:
    """Whether a machine is seen; ``planned_us`` is the planned time since it no longer is.

    ``connected``: its server is; None: not known.
    """

    machine: str
    server: str
    observed: bool
    connected: bool | None
    in_shift: bool
    since_us: int | None = None
    planned_us: int = 0


class Settings(Protocol):
    """A part of [alerts.machine_out_of_sight], with the same meanings."""

    after_min: float


def see(sight: Sight, settings: Settings) -> Sighting:
    """Whether a machine has been out of sight for too long; without its server, all stays as it was."""
    detail: dict[str, object] = {
        "server": sight.server,
        "after_min": settings.after_min,
        "lost_at": moment(sight.since_us),
    }
    dark = not sight.observed and bool(sight.connected) and sight.in_shift
    return Sighting(
        NAME,
        sight.machine,
        "machine",
        dark and sight.planned_us >= settings.after_min * 60e6,
        sight.observed or not sight.in_shift,
        text=text_of(say, sight.machine, detail),
        detail=detail,
    )


def say(seen: Seen) -> Sentence:
    """For how long which machine has been out of sight."""
    return Sentence(
        N_("{machine} has been out of sight for more than {after:g} min, though server {server} is connected"),
        {"machine": seen["machine"], "after": seen["after_min"], "server": seen["server"]},
    )
