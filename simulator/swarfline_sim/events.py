"""What a simulated machine says: value changes of signals, in time order.

Times are integer microseconds UTC. Durations inside the stream are in s, distances in m, counts in 1.
"""

from __future__ import annotations

from typing import NamedTuple

Value = bool | int | float | str

SECOND_US = 1_000_000
MINUTE_US = 60 * SECOND_US
HOUR_US = 60 * MINUTE_US

WARM_UP = "warm_up"
"""Signal of the model only: a warm-up is running. The history leaves it out, the server shows IsWarmUp."""


class Event(NamedTuple):
    """From ``t_us`` on, ``signal`` of ``machine`` has ``value``."""

    t_us: int
    machine: str
    signal: str
    value: Value


class Out:
    """Where a model writes its changes: keeps the last value, drops what does not change anything."""

    __slots__ = ("_machine", "events", "values")

    def __init__(self, machine: str) -> None:
        self._machine = machine
        self.values: dict[str, Value] = {}
        self.events: list[Event] = []

    def put(self, t_us: int, signal: str, value: Value) -> None:
        """``signal`` is ``value`` from ``t_us`` on; nothing is written when it already was."""
        if self.values.get(signal) == value and signal in self.values:
            return
        self.values[signal] = value
        self.events.append(Event(t_us, self._machine, signal, value))


def micros(seconds: float) -> int:
    """Seconds as whole microseconds, to the nearest millisecond (the resolution of the model)."""
    return round(seconds * 1000) * 1000


def seconds(us: int) -> float:
    """Microseconds as seconds."""
    return us / SECOND_US
