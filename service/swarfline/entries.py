"""The entries: what people add to the facts afterwards. Frozen records; standard library only.

An entry is about a machine and a span [start, end) in µs UTC, never about a fact: facts may be worked out anew. It
is never altered or deleted; undoing it is noted beside it.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import ClassVar

SCRAPPED, REWORKED, GOOD_AFTER_ALL = "scrap", "rework", "good"
JUDGED = (SCRAPPED, REWORKED, GOOD_AFTER_ALL)
"""What parts may be judged to be, later: scrap; in need of rework; good, although they were told as scrap."""


@dataclass(frozen=True, slots=True)
class StopReason:
    """Why a machine stood."""

    kind: ClassVar[str] = "stop_reason"
    reason: str


@dataclass(frozen=True, slots=True)
class Judgement:
    """``quantity`` parts of those made in the span were judged anew; ``judged`` is one of JUDGED."""

    kind: ClassVar[str] = "judgement"
    part: str
    judged: str
    quantity: int


@dataclass(frozen=True, slots=True)
class Note:
    """What somebody wants to be known of a machine at a time."""

    kind: ClassVar[str] = "note"
    text: str


@dataclass(frozen=True, slots=True)
class Target:
    """``quantity`` parts are wanted in the span; ``part`` is empty where it does not matter which."""

    kind: ClassVar[str] = "target"
    part: str
    quantity: int


LONGEST_US = 31 * 86_400_000_000
"""An entry is about a span of at most this length."""

Said = StopReason | Judgement | Note | Target
SAID_KINDS: tuple[type[Said], ...] = (StopReason, Judgement, Note, Target)
"""Every kind of entry."""


@dataclass(frozen=True, slots=True)
class Undone:
    """That an entry was undone: by whom, when (µs UTC, the service's clock), and why if told."""

    who: str
    at_us: int
    note: str = ""


@dataclass(frozen=True, slots=True)
class Entry:
    """What ``who`` said of a machine and a span, entered at ``entered_us`` (the service's clock).

    ``number`` counts from 1 in the order of entering; 0: not stored yet. ``undone``: it does not hold any more.
    """

    machine: str
    start_us: int
    end_us: int
    said: Said
    who: str
    entered_us: int
    note: str = ""
    number: int = 0
    undone: Undone | None = None


def standing(entries: Iterable[Entry]) -> list[Entry]:
    """The entries that were not undone, in the order of entering."""
    return sorted((e for e in entries if e.undone is None), key=lambda e: e.number)
