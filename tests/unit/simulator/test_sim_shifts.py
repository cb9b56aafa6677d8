"""The works' calendar in local time, over the change to summer time."""

from datetime import datetime
from zoneinfo import ZoneInfo

import pytest

from swarfline_sim.planning import ATTENDED, BREAK, CLOSED, UNATTENDED, Always, next_attended
from swarfline_sim.shifts import WorksCalendar

MADRID = ZoneInfo("Europe/Madrid")


def at(text):
    return int(datetime.fromisoformat(text).replace(tzinfo=MADRID).timestamp()) * 1_000_000


@pytest.mark.parametrize(
    ("moment", "alone", "shut"),
    [
        ("2026-03-02T05:59:59", UNATTENDED, CLOSED),
        ("2026-03-02T06:00:00", ATTENDED, ATTENDED),
        ("2026-03-02T09:30:00", BREAK, BREAK),
        ("2026-03-02T09:50:00", ATTENDED, ATTENDED),
        ("2026-03-02T18:19:59", BREAK, BREAK),
        ("2026-03-02T21:59:59", ATTENDED, ATTENDED),
        ("2026-03-02T22:00:00", UNATTENDED, CLOSED),
        ("2026-03-07T10:10:00", ATTENDED, CLOSED),
        ("2026-03-08T12:00:00", UNATTENDED, CLOSED),
    ],
)
def test_kind_of_time(moment, alone, shut):
    assert WorksCalendar(True).at(at(moment)).kind == alone
    assert WorksCalendar(False).at(at(moment)).kind == shut


def test_weekend_is_one_span_and_knows_the_change_to_summer_time():
    span = WorksCalendar(False).at(at("2026-03-28T12:00:00"))
    assert (span.start_us, span.end_us) == (at("2026-03-27T22:00:00"), at("2026-03-30T06:00:00"))
    # 56 h by the clock, one less because 2026-03-29 has 23 h
    assert span.end_us - span.start_us == 55 * 3_600_000_000


def test_next_attended():
    assert next_attended(WorksCalendar(True), at("2026-03-06T23:00:00")) == at("2026-03-07T10:00:00")
    assert next_attended(WorksCalendar(False), at("2026-03-06T23:00:00")) == at("2026-03-09T06:00:00")
    assert next_attended(Always(), 5) == 5
