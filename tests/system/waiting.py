"""Waits for what is to happen, not for time to pass."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import TypeVar

DEADLINE_S = 60.0
"""Far above what anything here takes: it ends a test that would hang, and judges no speed."""
LOOK_EVERY_S = 0.1

T = TypeVar("T")


def until(what: str, look: Callable[[], T], deadline_s: float = DEADLINE_S) -> T:
    """The first result of ``look`` that is true; fails with ``what`` when there is none in time."""
    end = time.monotonic() + deadline_s
    while True:
        found = look()
        if found:
            return found
        if time.monotonic() > end:
            raise AssertionError(f"waited {deadline_s:.0f} s in vain for: {what}")
        time.sleep(LOOK_EVERY_S)
