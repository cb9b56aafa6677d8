"""The one place where the service reads the wall clock; everything else is handed the time."""

from __future__ import annotations

import time


def now_us() -> int:
    """Microseconds since 1970-01-01T00:00Z."""
    return time.time_ns() // 1000
