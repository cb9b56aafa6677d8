"""From the tables of the plant file to a Calendar, and the check that shifts do not overlap."""

from __future__ import annotations

from datetime import datetime, time
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from swarfline.calendar import Break, Calendar, PlannedStop, Shift, to_us

if TYPE_CHECKING:
    from swarfline.plant.model import BreakTable, PlannedStopTable, Plant, ShiftTable

_DAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
_DAY_MINUTES = 24 * 60
_WEEK_MINUTES = 7 * _DAY_MINUTES


def build_calendar(plant: Plant) -> Calendar:
    """The Calendar of a checked plant."""
    zone = ZoneInfo(plant.plant.time_zone)
    return Calendar(
        zone,
        tuple(_shift(s) for s in plant.shifts),
        tuple(_stop(s, zone) for s in plant.planned_stops),
    )


def _shift(table: ShiftTable) -> Shift:
    return Shift(
        table.name,
        table.start,
        table.end,
        frozenset(_DAYS.index(d) + 1 for d in table.days),
        tuple(Break(b.start, b.end) for b in table.breaks),
        frozenset(table.machines),
    )


def _stop(table: PlannedStopTable, zone: ZoneInfo) -> PlannedStop:
    return PlannedStop(
        to_us(_aware(table.start, zone)),
        to_us(_aware(table.end, zone)),
        table.reason,
        frozenset(table.machines),
    )


def _aware(moment: datetime, zone: ZoneInfo) -> datetime:
    return moment if moment.tzinfo else moment.replace(tzinfo=zone)


def overlaps(shifts: tuple[ShiftTable, ...], machines: tuple[str, ...]) -> list[tuple[str, str, str]]:
    """(shift, shift, machine) for the first machine on which two shifts overlap, by wall-clock minutes."""
    found = []
    for i, first in enumerate(shifts):
        for second in shifts[i + 1 :]:
            shared = [m for m in machines if _holds(first, m) and _holds(second, m)]
            if shared and _minutes(first) & _minutes(second):
                found.append((first.name, second.name, shared[0]))
    return found


def _holds(shift: ShiftTable, machine: str) -> bool:
    return not shift.machines or machine in shift.machines


def breaks_outside(shift: ShiftTable) -> list[BreakTable]:
    """The breaks that do not lie wholly inside their shift, by wall-clock minutes."""
    length = _minutes_from(shift.start, shift.end)
    return [
        pause
        for pause in shift.breaks
        if _minutes_from(shift.start, pause.start) % _DAY_MINUTES + _minutes_from(pause.start, pause.end) > length
    ]


def _minutes_from(start: time, end: time) -> int:
    """Minutes from one time of day to the next occurrence of another, 1 to 1440."""
    first, last = (clock.hour * 60 + clock.minute for clock in (start, end))
    return last - first if last > first else last - first + _DAY_MINUTES


def _minutes(shift: ShiftTable) -> set[int]:
    start = shift.start.hour * 60 + shift.start.minute
    return {
        (_DAYS.index(day) * _DAY_MINUTES + start + minute) % _WEEK_MINUTES
        for day in shift.days
        for minute in range(_minutes_from(shift.start, shift.end))
    }
