"""The calendar: intervals, shifts with breaks and planned stops, named spans, nights of a clock change."""

from datetime import UTC, date, datetime, time
from zoneinfo import ZoneInfo

from hypothesis import given
from hypothesis import strategies as st

from swarfline.calendar import (
    Break,
    Calendar,
    PlannedStop,
    Shift,
    from_us,
    intersect,
    local_us,
    merge,
    subtract,
    to_us,
    total,
)

BERLIN = ZoneInfo("Europe/Berlin")
MINUTE = 60_000_000
HOUR = 60 * MINUTE
WEEKDAYS = frozenset({1, 2, 3, 4, 5})
DAILY = frozenset(range(1, 8))
EARLY = Shift("early", time(6), time(14), WEEKDAYS, (Break(time(9), time(9, 15)), Break(time(12), time(12, 30))))
NIGHT = Shift("night", time(22), time(6), DAILY, (Break(time(2, 30), time(3)),))


def at(day: str, clock: str, zone: ZoneInfo = BERLIN) -> int:
    return local_us(date.fromisoformat(day), time.fromisoformat(clock), zone)


def clocks(intervals):
    return [tuple(from_us(us, BERLIN).strftime("%H:%M") for us in pair) for pair in intervals]


intervals = st.lists(st.tuples(st.integers(0, 60), st.integers(1, 20)), max_size=6).map(
    lambda pairs: merge((start, start + length) for start, length in pairs)
)


def moments(pairs) -> set[int]:
    return {t for start, end in pairs for t in range(start, end)}


@given(intervals, intervals)
def test_intervals_are_sets_of_moments(left, right):
    assert moments(intersect(left, right)) == moments(left) & moments(right)
    assert moments(subtract(left, right)) == moments(left) - moments(right)
    assert moments(merge([*left, *right])) == moments(left) | moments(right)
    for found in (intersect(left, right), subtract(left, right), merge([*left, *right])):
        assert total(found) == len(moments(found))
        assert found == sorted(found)


def test_merge_joins_what_touches_and_drops_what_is_empty():
    assert merge([(5, 9), (0, 5), (20, 20), (30, 25)]) == [(0, 9)]


@given(st.datetimes(timezones=st.just(UTC), allow_imaginary=False))
def test_moments_survive_the_way_there_and_back(moment):
    assert from_us(to_us(moment)) == moment
    assert from_us(to_us(moment), BERLIN) == moment


def test_breaks_are_taken_out_of_a_shift():
    calendar = Calendar(BERLIN, (EARLY,))
    span = calendar.shift_at("N1", at("2026-06-15", "09:05"))
    assert span is not None
    assert (span.name, span.day) == ("early", date(2026, 6, 15))
    assert clocks(span.planned) == [("06:00", "09:00"), ("09:15", "12:00"), ("12:30", "14:00")]


def test_planned_times_are_clipped_to_what_was_asked():
    calendar = Calendar(BERLIN, (EARLY,))
    found = calendar.planned("N1", at("2026-06-15", "09:10"), at("2026-06-16", "07:00"))
    assert clocks(found) == [("09:15", "12:00"), ("12:30", "14:00"), ("06:00", "07:00")]


def test_a_shift_runs_on_its_days_and_machines_only():
    calendar = Calendar(BERLIN, (Shift("late", time(14), time(22), frozenset({1}), machines=frozenset({"N2"})),))
    monday, tuesday = at("2026-06-15", "15:00"), at("2026-06-16", "15:00")
    assert calendar.shift_at("N2", monday) is not None
    assert calendar.shift_at("N2", tuesday) is None
    assert calendar.shift_at("N1", monday) is None


def test_a_planned_stop_takes_its_time_from_its_machines():
    stop = PlannedStop(at("2026-06-15", "08:00"), at("2026-06-15", "09:05"), "service", frozenset({"N1"}))
    calendar = Calendar(BERLIN, (EARLY,), (stop,))
    day = calendar.day_span(date(2026, 6, 15))
    assert total(calendar.planned("N2", *day)) - total(calendar.planned("N1", *day)) == HOUR
    assert clocks(calendar.planned("N1", *day))[:2] == [("06:00", "08:00"), ("09:15", "12:00")]


def test_a_night_belongs_to_the_day_it_begins_on():
    friday_only = Calendar(BERLIN, (Shift("night", time(22), time(6), frozenset({5})),))
    span = friday_only.shift_at("N1", at("2026-06-20", "05:59"))
    assert span is not None
    assert span.day == date(2026, 6, 19)
    assert friday_only.shift_at("N1", at("2026-06-20", "06:00")) is None
    assert friday_only.shift_at("N1", at("2026-06-20", "23:00")) is None


def test_a_shift_around_the_clock():
    calendar = Calendar(BERLIN, (Shift("all", time(6), time(6), DAILY),))
    span = calendar.shift_at("N1", at("2026-06-15", "05:00"))
    assert span is not None
    assert (span.day, span.end_us - span.start_us) == (date(2026, 6, 14), 24 * HOUR)


def test_overlapping_shifts_plan_a_time_once():
    calendar = Calendar(BERLIN, (Shift("a", time(6), time(14), DAILY), Shift("b", time(13), time(20), DAILY)))
    assert total(calendar.planned("N1", *calendar.day_span(date(2026, 6, 15)))) == 14 * HOUR


def test_a_break_keeps_its_length_on_the_nights_of_a_clock_change():
    calendar = Calendar(BERLIN, (NIGHT,))
    for day, hours in (("2026-06-15", 8), ("2026-03-28", 7), ("2026-10-24", 9)):
        span = calendar.shift_at("N1", at(day, "23:00"))
        assert span is not None
        assert total(span.planned) == hours * HOUR - 30 * MINUTE


def test_a_break_over_midnight():
    shift = Shift("night", time(22), time(6), DAILY, (Break(time(23, 45), time(0, 15)),))
    span = Calendar(BERLIN, (shift,)).shift_at("N1", at("2026-06-15", "23:50"))
    assert span is not None
    assert clocks(span.planned) == [("22:00", "23:45"), ("00:15", "06:00")]


@given(st.integers(0, 364 * 24), st.integers(1, 24 * 40))
def test_planned_times_of_a_year_are_the_same_whole_or_in_pieces(start_h, length_h):
    calendar = Calendar(BERLIN, (EARLY, NIGHT))
    start = to_us(datetime(2026, 1, 1, tzinfo=UTC)) + start_h * HOUR
    middle, end = start + length_h * HOUR // 3, start + length_h * HOUR
    pieces = calendar.planned("N1", start, middle) + calendar.planned("N1", middle, end)
    assert merge(pieces) == calendar.planned("N1", start, end)


@given(st.integers(-60, 60))
def test_a_plan_repeats_by_the_week_in_a_zone_without_clock_changes(weeks):
    calendar = Calendar(ZoneInfo("Asia/Tokyo"), (EARLY, NIGHT))
    start, week = to_us(datetime(2026, 6, 15, tzinfo=UTC)), 7 * 24 * HOUR
    moved = calendar.planned("N1", start + weeks * week, start + (weeks + 1) * week)
    assert [(a - weeks * week, b - weeks * week) for a, b in moved] == calendar.planned("N1", start, start + week)


def test_named_spans():
    calendar = Calendar(BERLIN)
    day = date(2026, 6, 17)
    assert [from_us(us, BERLIN).date() for us in calendar.week_span(day)] == [date(2026, 6, 15), date(2026, 6, 22)]
    assert [from_us(us, BERLIN).date() for us in calendar.month_span(day)] == [date(2026, 6, 1), date(2026, 7, 1)]
    december = calendar.month_span(date(2026, 12, 31))
    assert [from_us(us, BERLIN).date() for us in december] == [date(2026, 12, 1), date(2027, 1, 1)]


def test_days_tile_a_span_over_a_clock_change():
    calendar = Calendar(BERLIN)
    start, end = at("2026-10-23", "15:00"), at("2026-10-26", "04:00")
    days = calendar.days(start, end)
    assert [d.isoformat() for d, _ in days] == ["2026-10-23", "2026-10-24", "2026-10-25", "2026-10-26"]
    assert merge(span for _, span in days) == [(start, end)]
    assert [span[1] - span[0] for _, span in days] == [9 * HOUR, 24 * HOUR, 25 * HOUR, 4 * HOUR]
    assert calendar.day_of(start) == date(2026, 10, 23)
    assert calendar.days(start, start) == []
