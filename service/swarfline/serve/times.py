"""Times at the edge: RFC 3339 in and out, validated by the grammar (sections 5.6 and 5.7 of RFC 3339)."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from swarfline.calendar import from_us, to_us

_GRAMMAR = re.compile(
    r"(\d{4})-(\d{2})-(\d{2})[Tt]([01]\d|2[0-3]):([0-5]\d):([0-5]\d|60)(?:\.(\d+))?"
    r"(?:[Zz]|([+\- ])([01]\d|2[0-3]):([0-5]\d))",
    re.ASCII,
)
_DAY = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)


def parse(text: str) -> int:
    """µs UTC of an RFC 3339 time; digits beyond µs are cut off. Raises ValueError.

    A space before the offset is read as "+": that is what an unescaped "+" becomes in a query string. A leap
    second, allowed only where one can be, is the first moment of the next minute.
    """
    match = _GRAMMAR.fullmatch(text)
    if match is None:
        raise ValueError(f"{text!r} is no RFC 3339 time with an offset")
    year, month, day, hour, minute, second = (int(match[i]) for i in range(1, 7))
    moment = datetime(year, month, day, hour, minute, min(second, 59), tzinfo=UTC)
    moment += timedelta(microseconds=int((match[7] or "0")[:6].ljust(6, "0")))
    try:
        moment -= _offset(match)
        if second == 60:
            moment = _leap(moment, text)
    except OverflowError:
        raise ValueError(f"{text!r} is too far from now") from None
    return to_us(moment)


def _offset(match: re.Match[str]) -> timedelta:
    if match[8] is None:
        return timedelta()
    ahead = timedelta(hours=int(match[9]), minutes=int(match[10]))
    return -ahead if match[8] == "-" else ahead


def _leap(moment: datetime, text: str) -> datetime:
    whole = moment.replace(microsecond=0) + timedelta(seconds=1)
    if whole.day != 1 or whole.hour or whole.minute or whole.second:
        raise ValueError(f"{text!r}: a leap second ends a month (UTC)")
    return whole


def parse_day(text: str) -> date:
    """A day written YYYY-MM-DD. Raises ValueError."""
    if not _DAY.fullmatch(text):
        raise ValueError(f"{text!r} is no day; write YYYY-MM-DD")
    return date.fromisoformat(text)


def show(us: int, zone: ZoneInfo) -> str:
    """A moment as RFC 3339 with the zone's offset, to the µs where there are any."""
    moment = from_us(us, zone)
    return moment.isoformat(timespec="microseconds" if us % 1_000_000 else "seconds")


def show_or_none(us: int | None, zone: ZoneInfo) -> str | None:
    """Like ``show``; None stays None."""
    return None if us is None else show(us, zone)


def seconds(us: int) -> float:
    """µs as s."""
    return us / 1_000_000
