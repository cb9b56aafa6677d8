"""What a machine reported as an alarm, from raised to gone; another code is another alarm.

A code or text that comes after the alarm itself names the alarm that is active.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from swarfline.facts import Alarm


class Alarms:
    """The alarm of one machine that is active, if any."""

    __slots__ = ("_code", "_machine", "_start_us", "_text")

    def __init__(self, machine: str) -> None:
        self._machine = machine
        self._start_us: int | None = None
        self._code = self._text = ""

    def settle(self, at_us: int, values: Mapping[str, object]) -> list[Alarm]:
        """Take in the values of one instant; a finished alarm comes back."""
        if not values.get("alarm"):
            return self.end(at_us)
        code, text = str(values.get("alarm_code") or ""), str(values.get("alarm_text") or "")
        if self._start_us is not None and (not code or not self._code or code == self._code):
            self._code, self._text = self._code or code, text or self._text
            return []
        done = self.end(at_us)
        self._start_us, self._code, self._text = at_us, code, text
        return done

    def end(self, at_us: int) -> list[Alarm]:
        """The active alarm is gone, or no longer observed."""
        done = self.current(at_us, False)
        self._start_us = None
        return [done] if done else []

    def current(self, until_us: int, still: bool = True) -> Alarm | None:
        """The active alarm as far as observed."""
        if self._start_us is None or until_us <= self._start_us:
            return None
        return Alarm(self._machine, self._start_us, until_us, self._code, self._text, open=still)

    def save(self) -> list[object]:
        """State as plain data."""
        return [self._start_us, self._code, self._text]

    def load(self, state: list[Any]) -> None:
        """The reverse of save."""
        self._start_us, self._code, self._text = state
