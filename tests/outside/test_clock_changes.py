"""Days, shifts and weeks against the IANA time zone data (D-1 to D-5); reference: tzdata through zoneinfo."""

from datetime import UTC, date, datetime, time
from zoneinfo import ZoneInfo

import pytest

from swarfline.calendar import Calendar, Shift, from_us, local_us

HOUR = 3_600_000_000
DAILY = frozenset(range(1, 8))

DAYS = [
    ("Europe/Berlin", "2025-03-30", 23, "2025-03-29T23:00"),
    ("Europe/Berlin", "2025-10-26", 25, "2025-10-25T22:00"),
    ("Europe/Berlin", "2026-03-29", 23, "2026-03-28T23:00"),
    ("Europe/Berlin", "2026-10-25", 25, "2026-10-24T22:00"),
    ("Europe/London", "2026-03-29", 23, "2026-03-29T00:00"),
    ("Europe/London", "2026-10-25", 25, "2026-10-24T23:00"),
    ("America/New_York", "2026-03-08", 23, "2026-03-08T05:00"),
    ("America/New_York", "2026-11-01", 25, "2026-11-01T04:00"),
    ("America/Chicago", "2026-03-08", 23, "2026-03-08T06:00"),
    ("Australia/Sydney", "2026-04-05", 25, "2026-04-04T13:00"),
    ("Australia/Sydney", "2026-10-04", 23, "2026-10-03T14:00"),
    ("Australia/Lord_Howe", "2026-04-05", 24.5, "2026-04-04T13:00"),
    ("Australia/Lord_Howe", "2026-10-04", 23.5, "2026-10-03T13:30"),
    ("America/Santiago", "2026-04-04", 25, "2026-04-04T03:00"),
    ("America/Santiago", "2026-09-06", 23, "2026-09-06T04:00"),
    ("Africa/Cairo", "2026-04-24", 23, "2026-04-23T22:00"),
    ("America/Sao_Paulo", "2018-11-04", 23, "2018-11-04T03:00"),
    ("Asia/Tokyo", "2026-03-29", 24, "2026-03-28T15:00"),
]


def utc(us: int) -> str:
    return from_us(us).isoformat(timespec="minutes").removesuffix("+00:00")


@pytest.mark.parametrize(("zone", "day", "hours", "start"), DAYS)
def test_d_1_d_2_lengths_and_beginnings_of_days(zone, day, hours, start):
    found = Calendar(ZoneInfo(zone)).day_span(date.fromisoformat(day))
    assert utc(found[0]) == start
    assert found[1] - found[0] == hours * HOUR


@pytest.mark.parametrize("zone", ["Asia/Tokyo", "Asia/Kolkata", "Europe/Istanbul", "America/Sao_Paulo"])
def test_d_1_zones_without_changes_in_2026(zone):
    calendar = Calendar(ZoneInfo(zone))
    start = calendar.day_span(date(2026, 1, 1))[0]
    days = calendar.days(start, calendar.day_span(date(2027, 1, 1))[0])
    assert len(days) == 365
    assert {end - begin for _, (begin, end) in days} == {24 * HOUR}


SHIFTS = [
    ("Europe/Berlin", "2026-03-28", "2026-03-28T21:00", "2026-03-29T04:00", 7),
    ("Europe/Berlin", "2026-10-24", "2026-10-24T20:00", "2026-10-25T05:00", 9),
    ("Europe/Berlin", "2026-06-15", "2026-06-15T20:00", "2026-06-16T04:00", 8),
    ("America/New_York", "2026-03-07", "2026-03-08T03:00", "2026-03-08T10:00", 7),
    ("America/New_York", "2026-10-31", "2026-11-01T02:00", "2026-11-01T11:00", 9),
    ("Asia/Tokyo", "2026-12-31", "2026-12-31T13:00", "2026-12-31T21:00", 8),
]


@pytest.mark.parametrize(("zone", "day", "start", "end", "hours"), SHIFTS)
def test_d_3_night_shifts(zone, day, start, end, hours):
    calendar = Calendar(ZoneInfo(zone), (Shift("night", time(22), time(6), DAILY),))
    at = local_us(date.fromisoformat(day), time(23), calendar.zone)
    span = calendar.shift_at("N1", at)
    assert span is not None
    assert (span.day.isoformat(), utc(span.start_us), utc(span.end_us)) == (day, start, end)
    assert sum(b - a for a, b in span.planned) == hours * HOUR


def test_d_4_wall_clock_times_that_are_twice_or_never():
    berlin = ZoneInfo("Europe/Berlin")
    assert utc(local_us(date(2026, 10, 25), time(2, 30), berlin)) == "2026-10-25T00:30"
    assert utc(local_us(date(2026, 10, 25), time(2, 30, fold=1), berlin)) == "2026-10-25T01:30"
    assert utc(local_us(date(2026, 3, 29), time(2, 30), berlin)) == "2026-03-29T01:30"
    assert utc(local_us(date(2026, 3, 29), time(2, 30, fold=1), berlin)) == "2026-03-29T00:30"


WEEKS = [
    ("2024-12-30", "2025-W01-1"),
    ("2025-12-29", "2026-W01-1"),
    ("2026-01-01", "2026-W01-4"),
    ("2026-12-28", "2026-W53-1"),
    ("2027-01-01", "2026-W53-5"),
    ("2027-01-03", "2026-W53-7"),
    ("2027-01-04", "2027-W01-1"),
    ("2021-01-03", "2020-W53-7"),
]


@pytest.mark.parametrize(("day", "week"), WEEKS)
def test_d_5_the_week_of_a_day_is_the_iso_week(day, week):
    """Reference libraries: datetime and isoweek."""
    calendar = Calendar(ZoneInfo("UTC"))
    start, end = calendar.week_span(date.fromisoformat(day))
    monday = datetime.fromisocalendar(int(week[:4]), int(week[6:8]), 1).replace(tzinfo=UTC)
    assert from_us(start) == monday
    assert end - start == 7 * 24 * HOUR
    assert date.fromisoformat(day).isoweekday() == int(week[-1])


def test_d_5_years_with_53_weeks():
    """Weeks from the first to the last that hold a 4 January, counted by our own spans."""
    calendar = Calendar(ZoneInfo("UTC"))

    def weeks(year: int) -> int:
        first, after = (calendar.week_span(date(y, 1, 4))[0] for y in (year, year + 1))
        return (after - first) // (7 * 24 * HOUR)

    assert [y for y in range(2000, 2051) if weeks(y) == 53] == [
        2004,
        2009,
        2015,
        2020,
        2026,
        2032,
        2037,
        2043,
        2048,
    ]
