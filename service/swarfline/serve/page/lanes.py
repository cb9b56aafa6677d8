"""What a timeline is drawn from: the ticks of its axis, and stretches of like condition. Pure: facts and times in.

A piece of time too short to be seen alone is told together with its neighbours, as what filled most of them.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from swarfline.calendar import Calendar, Interval
from swarfline.facts import UNOBSERVED, Alarm, Condition, Cycle, Gap

_SECOND = 1_000_000
STEPS_S = (1, 5, 10, 30, 60, 300, 600, 1800, 3600, 7200, 10_800, 21_600, 43_200, 86_400)
"""Distances between ticks; each divides a day."""
MOST_TICKS = 32


@dataclass(frozen=True, slots=True)
class Stretch:
    """A stretch of time; ``mostly``: of several pieces, ``condition`` is what filled most of it."""

    start_us: int
    end_us: int
    condition: str
    what: str = ""
    mostly: bool = False

    @property
    def length_us(self) -> int:
        """From start to end."""
        return self.end_us - self.start_us


def tick_step_us(span: Interval, most: int = MOST_TICKS) -> int:
    """The smallest distance of ticks that gives the span at most ``most`` of them; a day for long ones."""
    length = span[1] - span[0]
    fitting = (s * _SECOND for s in STEPS_S if length <= s * _SECOND * (most - 1))
    return next(fitting, STEPS_S[-1] * _SECOND)


def ticks(calendar: Calendar, span: Interval, most: int = MOST_TICKS) -> list[tuple[int, date]]:
    """Times of the ticks of a span, each with its day; counted from midnight in the plant's zone."""
    step = tick_step_us(span, most)
    found = []
    for day, _part in calendar.days(*span):
        start, end = calendar.day_span(day)
        first = start + max(0, -(-(span[0] - start) // step)) * step
        found += [(at, day) for at in range(first, min(end, span[1]), step)]
    return found


def tiles(conditions: Iterable[Condition], span: Interval) -> list[Stretch]:
    """The conditions cut to a span that has passed; what none tells of is unobserved."""
    found: list[Stretch] = []
    at = span[0]
    for fact in conditions:
        start, end = max(fact.start_us, span[0]), min(fact.end_us, span[1])
        if start >= end:
            continue
        if at < start:
            found.append(Stretch(at, start, UNOBSERVED))
        found.append(Stretch(start, end, fact.condition, fact.alarm_text or fact.alarm_code))
        at = end
    if at < span[1]:
        found.append(Stretch(at, span[1], UNOBSERVED))
    return found


def stretches(pieces: Sequence[Stretch], least_us: int) -> list[Stretch]:
    """The pieces, those shorter than ``least_us`` put together with their neighbours that are so too."""
    found: list[Stretch] = []
    short: list[Stretch] = []
    for piece in pieces:
        if piece.length_us < least_us:
            short.append(piece)
            continue
        found += _together(short)
        found.append(piece)
        short = []
    return found + _together(short)


def _together(short: Sequence[Stretch]) -> list[Stretch]:
    if len(short) < 2:
        return list(short)
    sums: dict[str, int] = {}
    for piece in short:
        sums[piece.condition] = sums.get(piece.condition, 0) + piece.length_us
    most = max(sums, key=lambda c: sums[c])
    return [Stretch(short[0].start_us, short[-1].end_us, most, mostly=len(sums) > 1)]


def merged(facts: Iterable[Cycle | Alarm | Gap], span: Interval, least_us: int) -> list[Interval]:
    """Facts in time order as intervals in a span; those closer together than ``least_us`` run into one."""
    found: list[Interval] = []
    for fact in facts:
        start, end = max(fact.start_us, span[0]), min(fact.end_us, span[1])
        if start >= end:
            continue
        if found and start - found[-1][1] < least_us:
            found[-1] = (found[-1][0], max(end, found[-1][1]))
        else:
            found.append((start, end))
    return found


def part_stretches(cycles: Iterable[Cycle], span: Interval) -> list[Stretch]:
    """Stretches in which one part was made by one program; ``what`` names both."""
    found: list[Stretch] = []
    for cycle in cycles:
        start, end = max(cycle.start_us, span[0]), min(cycle.end_us, span[1])
        what = " · ".join(word for word in (cycle.part, cycle.program) if word)
        if start >= end or not what:
            continue
        if found and found[-1].what == what:
            start = found.pop().start_us
        found.append(Stretch(start, end, "", what))
    return found
