"""When reports are due: occasions by the plant's calendar and wall clock. Pure: time enters as a value.

An occasion is one span that one report of the plant file is to be made of. Of those that were missed only the
newest counts: nobody wants last week's seven mails at once.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from swarfline.calendar import Calendar, Interval, local_us
from swarfline.plant import ReportTable

DAY_US = 86_400_000_000
LATEST_US = 7 * DAY_US
"""An occasion that was due longer ago is not made up any more."""
_WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


@dataclass(frozen=True, slots=True)
class Occasion:
    """One span, µs UTC, of one report; ``name`` is a shift's. It is due at ``due_us``."""

    report: str
    start_us: int
    end_us: int
    due_us: int
    name: str = ""

    @property
    def key(self) -> str:
        """What makes it this occasion, whatever restarts lie between: the report and its span, in s UTC."""
        return f"report/{self.report}/{self.start_us // 1_000_000}-{self.end_us // 1_000_000}"


def newest(table: ReportTable, calendar: Calendar, machines: Sequence[str], now_us: int) -> list[Occasion]:
    """The occasions that became due last, as a rule one; several where shifts of different machines end together.

    Spans without planned time are passed over, where the plant has shifts at all.
    """
    past = [o for o in _occasions(table, calendar, machines, now_us) if now_us - LATEST_US < o.due_us <= now_us]
    last_us = max((o.due_us for o in past), default=0)
    return [o for o in past if o.due_us == last_us]


def _occasions(table: ReportTable, calendar: Calendar, machines: Sequence[str], now_us: int) -> Iterator[Occasion]:
    if table.span == "shift":
        yield from _shifts(table, calendar, machines, now_us)
        return
    for span, day in _spans(table, calendar, calendar.day_of(now_us)):
        planned = any(calendar.planned(m, *span) for m in machines) or not calendar.shifts
        if planned:
            yield Occasion(table.id, *span, local_us(day, table.at, calendar.zone))


def _shifts(table: ReportTable, calendar: Calendar, machines: Sequence[str], now_us: int) -> Iterator[Occasion]:
    after_us = round(table.after_min * 60_000_000)
    reach = (now_us - LATEST_US - after_us - DAY_US, now_us)
    spans = (s for m in machines for s in calendar.shift_spans(m, *reach) if s.planned)
    for start, end, name in dict.fromkeys((s.start_us, s.end_us, s.name) for s in spans):
        yield Occasion(table.id, start, end, end + after_us, name)


def _spans(table: ReportTable, calendar: Calendar, today: date) -> Iterator[tuple[Interval, date]]:
    """Spans that ended of late, and the day on which each is due."""
    if table.span == "day":
        for back in range(LATEST_US // DAY_US + 2):
            day = today - timedelta(days=back)
            yield calendar.day_span(day - timedelta(days=1)), day
    elif table.span == "week":
        monday = today - timedelta(days=today.isoweekday() - 1)
        for back in range(3):
            first = monday - timedelta(days=7 * back)
            due = first + timedelta(days=_WEEKDAYS.index(table.on))
            yield calendar.week_span(first - timedelta(days=7)), due
    else:
        first = today.replace(day=1)
        yield calendar.month_span(first - timedelta(days=1)), first
