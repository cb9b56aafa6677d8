"""When production is planned: shifts, breaks, exceptions and named spans, in the plant's time zone.

Standard library only. Intervals are half-open pairs of integer microseconds UTC. Local times that do not
exist are read with the offset before the change, ambiguous ones as their first occurrence (fold 0).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

Interval = tuple[int, int]

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MICROSECOND = timedelta(microseconds=1)


def to_us(moment: datetime) -> int:
    """An aware datetime as µs UTC."""
    return (moment - _EPOCH) // _MICROSECOND


def from_us(us: int, zone: ZoneInfo | None = None) -> datetime:
    """µs UTC as an aware datetime, in ``zone`` or UTC."""
    moment = _EPOCH + timedelta(microseconds=us)
    return moment.astimezone(zone) if zone else moment


def local_us(day: date, clock: time, zone: ZoneInfo) -> int:
    """µs UTC of a wall-clock time of a day."""
    return to_us(datetime.combine(day, clock, tzinfo=zone).astimezone(UTC))


def intersect(left: Sequence[Interval], right: Sequence[Interval]) -> list[Interval]:
    """Common parts of two sorted lists of disjoint intervals, sorted."""
    found: list[Interval] = []
    i = j = 0
    while i < len(left) and j < len(right):
        start, end = max(left[i][0], right[j][0]), min(left[i][1], right[j][1])
        if start < end:
            found.append((start, end))
        if left[i][1] < right[j][1]:
            i += 1
        else:
            j += 1
    return found


def subtract(base: Sequence[Interval], cut: Sequence[Interval]) -> list[Interval]:
    """What remains of sorted disjoint ``base`` outside the sorted disjoint ``cut``."""
    left: list[Interval] = []
    for interval_start, end in base:
        start = interval_start
        for cut_start, cut_end in cut:
            if cut_end <= start or cut_start >= end:
                continue
            if cut_start > start:
                left.append((start, cut_start))
            start = max(start, cut_end)
        if start < end:
            left.append((start, end))
    return left


def merge(intervals: Iterable[Interval]) -> list[Interval]:
    """Sorted disjoint union; touching intervals become one."""
    merged: list[Interval] = []
    for start, end in sorted(i for i in intervals if i[0] < i[1]):
        if merged and start <= merged[-1][1]:
            merged[-1] = (merged[-1][0], max(merged[-1][1], end))
        else:
            merged.append((start, end))
    return merged


def total(intervals: Iterable[Interval]) -> int:
    """Summed length in µs."""
    return sum(end - start for start, end in intervals)


@dataclass(frozen=True, slots=True)
class Break:
    """A planned pause inside a shift, as wall-clock times."""

    start: time
    end: time


@dataclass(frozen=True, slots=True)
class Shift:
    """A daily pattern. ``days`` are ISO weekdays (1 = Monday) of the shift's start; an end at or before the
    start lies on the next day. ``machines`` empty means every machine.
    """

    name: str
    start: time
    end: time
    days: frozenset[int]
    breaks: tuple[Break, ...] = ()
    machines: frozenset[str] = frozenset()

    def runs(self, machine: str, day: date) -> bool:
        """Whether the pattern plans this machine on this day."""
        return day.isoweekday() in self.days and (not self.machines or machine in self.machines)


@dataclass(frozen=True, slots=True)
class PlannedStop:
    """A dated time in which production is not planned (holiday, maintenance); machines empty means all."""

    start_us: int
    end_us: int
    reason: str = ""
    machines: frozenset[str] = frozenset()

    def covers(self, machine: str) -> bool:
        """Whether it holds for this machine."""
        return not self.machines or machine in self.machines


@dataclass(frozen=True, slots=True)
class ShiftSpan:
    """One shift on one day: its outer bounds and the planned times inside, breaks and stops taken out."""

    name: str
    day: date
    start_us: int
    end_us: int
    planned: tuple[Interval, ...]


@dataclass(frozen=True, slots=True)
class Calendar:
    """The plant's zone, shifts and planned stops."""

    zone: ZoneInfo
    shifts: tuple[Shift, ...] = ()
    stops: tuple[PlannedStop, ...] = ()

    def shift_spans(self, machine: str, start_us: int, end_us: int) -> list[ShiftSpan]:
        """The shifts of one machine that overlap [start, end), whole, in time order."""
        first = from_us(start_us, self.zone).date() - timedelta(days=1)
        last = from_us(end_us, self.zone).date()
        spans = [
            self._span(shift, machine, day)
            for day in _days(first, last)
            for shift in self.shifts
            if shift.runs(machine, day)
        ]
        return sorted((s for s in spans if s.start_us < end_us and s.end_us > start_us), key=lambda s: s.start_us)

    def planned(self, machine: str, start_us: int, end_us: int) -> list[Interval]:
        """Planned production times of one machine inside [start, end), sorted and disjoint."""
        inside = merge(i for s in self.shift_spans(machine, start_us, end_us) for i in s.planned)
        return intersect(inside, [(start_us, end_us)])

    def shift_at(self, machine: str, at_us: int) -> ShiftSpan | None:
        """The shift of a machine that runs at a moment, or None."""
        spans = self.shift_spans(machine, at_us, at_us + 1)
        return spans[0] if spans else None

    def day_span(self, day: date) -> Interval:
        """Local midnight to local midnight (23, 24 or 25 hours, and odder where the zone is odd)."""
        return (
            local_us(day, time(), self.zone),
            local_us(day + timedelta(days=1), time(), self.zone),
        )

    def week_span(self, day: date) -> Interval:
        """The ISO week (Monday to Monday) that holds ``day``."""
        monday = day - timedelta(days=day.isoweekday() - 1)
        return self.day_span(monday)[0], self.day_span(monday + timedelta(days=7))[0]

    def month_span(self, day: date) -> Interval:
        """The calendar month that holds ``day``."""
        first = day.replace(day=1)
        following = (first + timedelta(days=32)).replace(day=1)
        return self.day_span(first)[0], self.day_span(following)[0]

    def day_of(self, at_us: int) -> date:
        """The local day of a moment."""
        return from_us(at_us, self.zone).date()

    def days(self, start_us: int, end_us: int) -> list[tuple[date, Interval]]:
        """Every local day that overlaps [start, end), with its span clipped to it."""
        days = [(day, self.day_span(day)) for day in _days(self.day_of(start_us), self.day_of(end_us - 1))]
        clipped = [(day, (max(start_us, start), min(end_us, end))) for day, (start, end) in days]
        return [(day, span) for day, span in clipped if span[0] < span[1]]

    def _span(self, shift: Shift, machine: str, day: date) -> ShiftSpan:
        start, end = _bounds(day, shift.start, shift.end, self.zone)
        breaks = merge(self._break(shift, b, day) for b in shift.breaks)
        stops = merge((s.start_us, s.end_us) for s in self.stops if s.covers(machine))
        planned = subtract(subtract([(start, end)], breaks), stops)
        return ShiftSpan(shift.name, day, start, end, tuple(planned))

    def _break(self, shift: Shift, pause: Break, day: date) -> Interval:
        after_midnight = shift.end <= shift.start and pause.start < shift.start
        start = local_us(day + timedelta(days=int(after_midnight)), pause.start, self.zone)
        return start, start + _length_us(pause.start, pause.end)


def _bounds(day: date, start: time, end: time, zone: ZoneInfo) -> Interval:
    end_day = day + timedelta(days=int(end <= start))
    return local_us(day, start, zone), local_us(end_day, end, zone)


def _length_us(start: time, end: time) -> int:
    """Length by the wall clock; a change of the clocks must not turn half an hour of break into 90 minutes."""
    first, last = (datetime.combine(date.min, clock, tzinfo=UTC) for clock in (start, end))
    return to_us(last if last > first else last + timedelta(days=1)) - to_us(first)


def _days(first: date, last: date) -> Iterator[date]:
    for ordinal in range(first.toordinal(), last.toordinal() + 1):
        yield date.fromordinal(ordinal)
