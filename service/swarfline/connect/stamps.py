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
