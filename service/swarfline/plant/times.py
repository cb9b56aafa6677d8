"""Times of day and days of the week, as a plant file writes them."""

from __future__ import annotations

from datetime import time
from typing import Annotated, Literal

from pydantic import BeforeValidator

Weekday = Literal["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
DAYS: tuple[Weekday, ...] = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
"""In the order of ISO 8601: the first one is day 1."""


def _wall_time(value: object) -> time:
    if isinstance(value, str):
        try:
            value = time.fromisoformat(value)
        except ValueError:
            raise ValueError("no time of day; write it as HH:MM") from None
    if not isinstance(value, time) or value.tzinfo is not None:
        raise ValueError("no time of day of the plant's time zone; write it as HH:MM")
    return value


WallTime = Annotated[time, BeforeValidator(_wall_time)]
