"""What is known of the time before a loss, and what a server's history told of the time since. Plain data."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from swarfline.signals import Reading


@dataclass(frozen=True, slots=True)
class Before:
    """A machine as it stood when its connection was lost.

    ``lost_us`` is the moment that was told, by the ruling clock; ``heard_us`` when its server was last heard of,
    by our own clock; ``newest_us`` the newest source time handed over, in the server's clock, 0 where it is not
    known; ``signals`` all that the machine had told; ``offset_us`` the server's clock minus ours, None where not
    known.
    """

    lost_us: int
    heard_us: int
    newest_us: int = 0
    signals: frozenset[str] = frozenset()
    offset_us: int | None = None


@dataclass(frozen=True, slots=True)
class Past:
    """What the history told of one machine since it was lost.

    ``readings`` in order of source time. ``applied_us`` is what interpretation takes from source times,
    ``since_us`` the loss in the server's clock: from there on the signals without history are not known.
    ``reach``: the newest source time by signal, for every signal whose history holds the whole time, whether or
    not anything happened in it. ``until_us``: up to this time of the server's clock only, since the server itself
    was away then; None: up to now.
    """

    readings: tuple[Reading, ...]
    reach: Mapping[str, int]
    since_us: int
    applied_us: int = 0
    until_us: int | None = None
