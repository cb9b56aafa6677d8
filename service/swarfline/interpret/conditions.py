"""What a machine was doing: the closed set of conditions, first match wins.

| first match | condition |
| --- | --- |
| connection lost, or the state not known (quality Bad, not yet told) | unobserved |
| state not_available | off |
| state out_of_service | out_of_service |
| a mode is offered and is not automatic, executing or not | setup |
| feed hold, program interrupted, or feed override 0 inside a cycle | held |
| state executing | producing |
| an alarm active | fault |
| else | waiting |
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from swarfline.facts import (
    FAULT,
    HELD,
    OFF,
    OUT_OF_SERVICE,
    PRODUCING,
    SETUP,
    UNOBSERVED,
    WAITING,
    Condition,
)


def state_of(values: Mapping[str, object]) -> object:
    """The machinery item state: as told, else from ``executing``; None when not known."""
    state = values.get("state")
    if state is not None or "state" in values:
        return state
    executing = values.get("executing")
    if executing is None:
        return None
    return "executing" if executing else "not_executing"


def classify(values: Mapping[str, object], in_cycle: bool, mode_offered: bool) -> str:
    """The condition for the values at one moment of an observed machine."""
    state = state_of(values)
    if state is None:
        return UNOBSERVED
    if state == "not_available":
        return OFF
    if state == "out_of_service":
        return OUT_OF_SERVICE
    mode = values.get("mode")
    if mode_offered and mode is not None and mode != "automatic":
        return SETUP
    if (
        values.get("feed_hold")
        or values.get("program_state") == "interrupted"
        or (in_cycle and values.get("feed_override") == 0)
    ):
        return HELD
    if state == "executing":
        return PRODUCING
    return FAULT if values.get("alarm") else WAITING


class Conditions:
    """The tiling of one machine's time."""

    __slots__ = ("_code", "_text", "condition", "machine", "start_us")

    def __init__(self, machine: str) -> None:
        self.machine = machine
        self.condition: str | None = None
        self.start_us = 0
        self._code = self._text = ""

    def turn(self, condition: str, at_us: int, values: Mapping[str, object]) -> Condition | None:
        """From ``at_us`` on it is ``condition``; the finished one, or None when nothing had lasted."""
        if condition == self.condition:
            return None
        done = self.current(at_us, False)
        self.condition, self.start_us = condition, at_us
        self._code = self._text = ""
        self.label(values)
        return done

    def label(self, values: Mapping[str, object]) -> None:
        """The alarm behind what stopped the machine, which may be named a little later than it did so."""
        if self.condition in (FAULT, HELD, OUT_OF_SERVICE) and values.get("alarm") and not self._code:
            self._code = str(values.get("alarm_code") or "")
            self._text = str(values.get("alarm_text") or "") or self._text

    def current(self, until_us: int, still: bool = True) -> Condition | None:
        """The running condition as far as observed, or None when it has not lasted yet."""
        if self.condition is None or until_us <= self.start_us:
            return None
        return Condition(self.machine, self.start_us, until_us, self.condition, self._code, self._text, open=still)

    def save(self) -> list[object]:
        """State as plain data."""
        return [self.condition, self.start_us, self._code, self._text]

    def load(self, state: list[Any]) -> None:
        """The reverse of save."""
        self.condition, self.start_us, self._code, self._text = state
