"""What a machine reported as an alarm, from raised to gone; another code is another alarm."""

from __future__ import annotations

from collections.abc import Mapping

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
        active = bool(values.get("alarm"))
        code = str(values.get("alarm_code") or "") if active else ""
        if active and self._start_us is not None and code == self._code:
            self._text = str(values.get("alarm_text") or self._text)
            return []
        done = self.end(at_us)
        if active:
            self._start_us, self._code = at_us, code
            self._text = str(values.get("alarm_text") or "")
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

    def load(self, state: list[object]) -> None:
        """The reverse of save."""
        self._start_us, self._code, self._text = state  # type: ignore[assignment]
