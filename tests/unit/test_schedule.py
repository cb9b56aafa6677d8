"""When reports are due. Days and clock changes by the IANA zone Europe/Madrid."""

from __future__ import annotations

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from swarfline.calendar import to_us
from swarfline.plant import Plant, ReportTable
from swarfline.plant.load import check
from swarfline.schedule import newest

ZONE = ZoneInfo("Europe/Madrid")
MINUTE_US = 60_000_000


def at(text: str) -> int:
    """A wall-clock time of Madrid; the first of two."""
    return to_us(datetime.fromisoformat(text).replace(tzinfo=ZONE))


def plant(**more: object) -> Plant:
    signals = {"executing": "mch:Run", "cycle_count": "mch:Cycles"}
    return check(
        {
            "plant": {"name": "Works", "time_zone": "Europe/Madrid"},
            "shifts": [
                {"name": "early", "start": "06:00", "end": "14:00"},
                {"name": "night", "start": "22:00", "end": "06:00", "machines": ["N2"]},
            ],
            "servers": [
                {
                    "id": "line",
                    "endpoint": "opc.tcp://127.0.0.1:4840",
                    "machines": [
                        {"id": name, "signals": {s: f"{n}{name}" for s, n in signals.items()}}
                        for name in ("N1", "N2")
                    ],
                }
            ],
            **more,
        },
        "works",
    )


def due(now: str, table: dict[str, object], machines: tuple[str, ...] = ("N1", "N2"), **more: object):
    """(start, end) of what was due last, as wall-clock times."""
    made = ReportTable.model_validate({"id": "r", "channel": "office", **table})
    found = newest(made, plant(**more).calendar(), machines, at(now))
    return [
        tuple(f"{datetime.fromtimestamp(us / 1e6, ZONE):%m-%d %H:%M}" for us in (o.start_us, o.end_us))
        for o in found
    ]


DAILY = {"span": "day", "at": "06:30"}
SHIFTS = {"span": "shift", "after_min": 10}
WEEKLY = {"span": "week", "on": "tue", "at": "07:00"}
MONTHLY = {"span": "month", "at": "07:00"}


@pytest.mark.parametrize(
    ("now", "table", "wanted"),
    [
        # 10 March 2026 is a Tuesday
        # the night shift of Friday reaches into Saturday
        ("2026-03-10T06:29", DAILY, [("03-07 00:00", "03-08 00:00")]),
        ("2026-03-10T06:30", DAILY, [("03-09 00:00", "03-10 00:00")]),
        ("2026-03-11T06:29", DAILY, [("03-09 00:00", "03-10 00:00")]),
        ("2026-03-11T06:30", DAILY, [("03-10 00:00", "03-11 00:00")]),
        ("2026-03-10T14:09", SHIFTS, [("03-09 22:00", "03-10 06:00")]),
        ("2026-03-10T14:10", SHIFTS, [("03-10 06:00", "03-10 14:00")]),
        ("2026-03-10T06:59", WEEKLY, [("02-23 00:00", "03-02 00:00")]),
        ("2026-03-10T07:00", WEEKLY, [("03-02 00:00", "03-09 00:00")]),
        ("2026-03-01T07:00", MONTHLY, [("02-01 00:00", "03-01 00:00")]),
        # longer ago than a week: not made up any more
        ("2026-03-09T07:00", MONTHLY, []),
    ],
)
def test_what_is_due(now, table, wanted):
    assert due(now, table) == wanted


def test_days_without_planned_time_have_no_report():
    assert due("2026-03-09T07:00", DAILY, ("N1",)) == [("03-06 00:00", "03-07 00:00")], "a weekend lies between"
    holiday = [{"start": "2026-03-10T00:00:00", "end": "2026-03-11T00:00:00", "reason": "holiday"}]
    assert due("2026-03-11T07:00", DAILY, ("N1",), planned_stops=holiday) == [("03-09 00:00", "03-10 00:00")]
    assert due("2026-03-10T14:10", SHIFTS, ("N1",), planned_stops=holiday) == [("03-09 06:00", "03-09 14:00")]


def test_without_shifts_every_day_has_one():
    assert due("2026-03-09T07:00", DAILY, shifts=[]) == [("03-08 00:00", "03-09 00:00")]


def test_shifts_that_end_together_both_have_one():
    shifts = [
        {"name": "long", "start": "06:00", "end": "16:00", "machines": ["N1"]},
        {"name": "short", "start": "08:00", "end": "16:00", "machines": ["N2"]},
    ]
    found = due("2026-03-10T16:10", SHIFTS, shifts=shifts)
    assert found == [("03-10 06:00", "03-10 16:00"), ("03-10 08:00", "03-10 16:00")]


@pytest.mark.parametrize(
    ("day", "hours"),
    [("2026-03-29", 23), ("2026-10-25", 25)],  # the last Sundays of March and October (Directive 2000/84/EC)
)
def test_days_on_which_the_clocks_change(day, hours):
    table = ReportTable.model_validate({"id": "r", "channel": "office", **DAILY})
    calendar = plant(shifts=[]).calendar()
    following = datetime.fromisoformat(day) + timedelta(days=1)
    due_us = at(f"{following:%Y-%m-%d}T06:30")
    (found,) = newest(table, calendar, ["N1"], due_us)
    assert found.due_us == due_us and found.end_us - found.start_us == hours * 60 * MINUTE_US
    (earlier,) = newest(table, calendar, ["N1"], due_us - 1)
    assert earlier.end_us == found.start_us


@pytest.mark.parametrize("day", ["2026-03-29", "2026-10-25"])
def test_a_time_that_the_clocks_skip_or_repeat_comes_once(day):
    """02:30 does not exist in March and exists twice in October; each day has one occasion all the same."""
    table = ReportTable.model_validate({"id": "r", "channel": "office", "span": "day", "at": "02:30"})
    calendar = plant(shifts=[]).calendar()
    midnight = at(f"{day}T00:00")
    keys = [newest(table, calendar, ["N1"], midnight + n * MINUTE_US)[0].key for n in range(25 * 60)]
    changes = [n for n in range(1, len(keys)) if keys[n] != keys[n - 1]]
    assert len(changes) == 1 and 120 <= changes[0] <= 181


def test_minute_by_minute_nothing_is_left_out_and_nothing_comes_twice():
    """A service that looks every minute for two weeks sees each shift exactly once, in order."""
    table = ReportTable.model_validate({"id": "r", "channel": "office", **SHIFTS})
    calendar = plant().calendar()
    start, seen = at("2026-03-23T00:00"), []
    for minute in range(0, 14 * 24 * 60, 5):
        for found in newest(table, calendar, ["N1", "N2"], start + minute * MINUTE_US):
            if found.key not in seen:
                seen.append(found.key)
    # 2 shifts on 10 days, and what was due last before the beginning
    assert len(seen) == 21
    assert len({key.rpartition("/")[2] for key in seen}) == 21
