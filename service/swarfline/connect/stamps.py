"""OPC UA times to integer microseconds."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
EARLIEST_US = int((datetime(1602, 1, 1, tzinfo=UTC) - EPOCH).total_seconds()) * 1_000_000
LATEST_US = int((datetime(9999, 1, 1, tzinfo=UTC) - EPOCH).total_seconds()) * 1_000_000
"""Times outside (EARLIEST_US, LATEST_US) are the edges of OPC's DateTime: the server has no time to give."""


def stamp_us(stamp: Any) -> int | None:
    """Microseconds UTC of a decoded DateTime, None when missing or at an edge.

    Whole numbers all the way: a float of seconds would lose microseconds.
    """
    if not isinstance(stamp, datetime):
        return None
    delta = (stamp if stamp.tzinfo is not None else stamp.replace(tzinfo=UTC)) - EPOCH
    us = (delta.days * 86_400 + delta.seconds) * 1_000_000 + delta.microseconds
    return us if EARLIEST_US < us < LATEST_US else None


AHEAD_US = 3_600_000_000
"""A server's value may be stamped so far ahead of its own clock: the control behind it may have another."""
_YEAR_US = 31_557_600_000_000
BEHIND_US = 20 * _YEAR_US
"""No value has stood unchanged for longer than this; clocks that were never set begin before it."""
AHEAD_OWN_US = 10 * _YEAR_US
"""Where the server's clock rules (simulation), what comes next may lie so far ahead."""


def believed(now_us: int, server_clock: bool) -> tuple[int, int]:
    """The open interval of source times that are believed when the server's clock shows ``now_us``.

    House rule: what lies outside is not a time, and the value counts as if it had come without one.
    """
    return now_us - BEHIND_US, now_us + (AHEAD_OWN_US if server_clock else AHEAD_US)
