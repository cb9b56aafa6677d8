"""The works' calendar: early and late shift on weekdays in local time, some machines alone in between."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from swarfline_sim.events import SECOND_US
from swarfline_sim.planning import ATTENDED, BREAK, CLOSED, UNATTENDED, Span

ZONE = ZoneInfo("Europe/Madrid")

_OUTSIDE = ""
WEEKDAY = (
    (0, 360, _OUTSIDE),
    (360, 570, ATTENDED),
    (570, 590, BREAK),
    (590, 1080, ATTENDED),
    (1080, 1100, BREAK),
    (1100, 1320, ATTENDED),
    (1320, 1440, _OUTSIDE),
)
"""Minutes of the day: early shift from 06:00, late shift from 14:00 to 22:00, breaks of 20 minutes."""

VISITED = (
    (0, 600, _OUTSIDE),
    (600, 640, ATTENDED),
    (640, 1080, _OUTSIDE),
    (1080, 1120, ATTENDED),
    (1120, 1440, ""),
)
"""A weekend day of machines that run alone: somebody looks in at 10:00 and at 18:00."""

SHUT = ((0, 1440, _OUTSIDE),)


class WorksCalendar:
    """Spans of one machine; with ``runs_alone`` it goes on outside the shifts, else it is closed then."""

    def __init__(self, runs_alone: bool) -> None:
        self._outside = UNATTENDED if runs_alone else CLOSED
        self._weekend = VISITED if runs_alone else SHUT
        self._days: dict[date, list[Span]] = {}
        self._last: Span | None = None

    def at(self, t_us: int) -> Span:
        """The span that holds ``t_us``, joined over midnight."""
        if self._last is not None and self._last.start_us <= t_us < self._last.end_us:
            return self._last
        span = self._plain(t_us)
        start, end = span.start_us, span.end_us
        while (before := self._plain(start - 1)).kind == span.kind:
            start = before.start_us
        while (after := self._plain(end)).kind == span.kind:
            end = after.end_us
        self._last = Span(start, end, span.kind)
        return self._last

    def _plain(self, t_us: int) -> Span:
        day = datetime.fromtimestamp(t_us // SECOND_US, ZONE).date()
        for span in self._spans(day):
            if span.start_us <= t_us < span.end_us:
                return span
        raise AssertionError(f"the spans of {day} leave a hole at {t_us}")

    def _spans(self, day: date) -> list[Span]:
        if day not in self._days:
            pattern = WEEKDAY if day.weekday() < 5 else self._weekend
            self._days[day] = [
                Span(local_us(day, start), local_us(day, end), kind or self._outside)
                for start, end, kind in pattern
            ]
        return self._days[day]


def local_us(day: date, minute: int) -> int:
    """A minute of a local day as microseconds UTC; minute 1440 is the next midnight."""
    day, minute = day + timedelta(days=minute // 1440), minute % 1440
    local = datetime(day.year, day.month, day.day, minute // 60, minute % 60, tzinfo=ZONE)
    return int(local.astimezone(UTC).timestamp()) * SECOND_US
