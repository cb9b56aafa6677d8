"""Stops to be named: the long ones of a span, each with the reasons that are likely."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from urllib.parse import urlencode

from swarfline.entries import Entry, StopReason, standing
from swarfline.measure.stops import BY_PERSON, Stop
from swarfline.plant import StopReasonTable
from swarfline.serve.assemble import Assembly
from swarfline.serve.page import words
from swarfline.serve.room import Room
from swarfline.serve.times import show

MOST_STOPS = 12
MOST_REASONS = 12
LOOK_BACK_US = 31 * 86_400_000_000
"""Reasons that people gave so far back are offered again."""
_FITS = 1000
_LEAST_US, _MOST_US = 300_000_000, 3_600_000_000


@dataclass(frozen=True, slots=True)
class StopLine:
    """One stop as it is listed; ``at`` names it to the form. ``entry``: what a person said, None: nobody did."""

    at: str
    start: str
    end: str
    length: str
    condition: str
    open: bool
    reason: str
    by: str
    reasons: list[str]
    entry: Entry | None
    entered: str
    window: str


@dataclass(frozen=True, slots=True)
class Stops:
    """The long stops of a span, the longest first, and what the short ones come to."""

    unnamed: list[StopLine]
    named: list[StopLine]
    more: int
    short: int
    short_length: str
    short_limit: str


def stops_of(work: Assembly, machine: str) -> Stops:
    """The stops of a machine in the span of ``work``."""
    found = work.stops(machine, work.span)
    long = sorted((s for s in found if s.long), key=lambda s: -s.length_us)
    short = [s for s in found if not s.long]
    unnamed, named = ([s for s in long if bool(s.reason) is told] for told in (False, True))
    namer = _Namer(work, machine)
    return Stops(
        [namer.line(s) for s in unnamed[:MOST_STOPS]],
        [namer.line(s) for s in named[:MOST_STOPS]],
        max(0, len(unnamed) - MOST_STOPS) + max(0, len(named) - MOST_STOPS),
        len(short),
        words.length(sum(s.planned_us for s in short)),
        words.length(work.room.plant.figures.short_stop_s * 1_000_000),
    )


class _Namer:
    def __init__(self, work: Assembly, machine: str) -> None:
        self.work, self.machine, self.room = work, machine, work.room
        self.told = work.reasons(machine)[1]
        self.used = used_reasons(work.room, machine, work.now_us)

    def line(self, stop: Stop) -> StopLine:
        zone, first = self.room.zone, self.work.span[0]
        entry = self.told.get(stop.start_us) if stop.reason_by == BY_PERSON else None
        return StopLine(
            show(stop.start_us, zone),
            words.clock(stop.start_us, zone, first),
            words.clock(stop.end_us, zone, stop.start_us),
            words.length(stop.length_us),
            stop.condition,
            stop.open,
            stop.reason,
            stop.reason_by,
            reasons_for(stop, self.used, self.room.plant.stop_reasons),
            entry,
            "" if entry is None else words.clock(entry.entered_us, zone, self.work.now_us),
            self._window(stop),
        )

    def _window(self, stop: Stop) -> str:
        """The machine's page about the stop and as much time beside it."""
        beside = min(max(stop.end_us - stop.start_us, _LEAST_US), _MOST_US)
        span = {"from": stop.start_us - beside, "to": stop.end_us + beside}
        asked = urlencode({name: show(us, self.room.zone) for name, us in span.items()})
        return f"/machines/{self.machine}?{asked}#timeline"


def used_reasons(room: Room, machine: str, now_us: int) -> Counter[str]:
    """How often people gave each reason for stops of a machine of late."""
    entries: Sequence[Entry] = room.queries.entries(StopReason, machine, now_us - LOOK_BACK_US, now_us)
    return Counter(e.said.reason for e in standing(entries) if isinstance(e.said, StopReason))


def reasons_for(stop: Stop, used: Counter[str], tables: Sequence[StopReasonTable]) -> list[str]:
    """Reasons to choose from: the often given first, then the plant file's that fit the stop, then its others."""
    rank: dict[str, int] = {reason: _FITS * (1 + times) for reason, times in used.items()}
    for place, table in enumerate(tables):
        if table.machines and stop.machine not in table.machines:
            continue
        fits = not table.conditions or stop.condition in table.conditions
        rank[table.reason] = rank.get(table.reason, 0) + (_FITS if fits else 0) - place
    return sorted(rank, key=lambda reason: -rank[reason])[:MOST_REASONS]
