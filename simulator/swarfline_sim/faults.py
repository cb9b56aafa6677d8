"""What goes wrong, how often and for how long. All draws come from the machine's own random numbers."""

from __future__ import annotations

from dataclasses import dataclass, replace
from random import Random
from typing import NamedTuple

HOLD, OVERRIDE_ZERO, INTERRUPT, ABORT, GIVE_UP, BREAKAGE = (
    "hold",
    "override_zero",
    "interrupt",
    "abort",
    "give_up",
    "breakage",
)
"""Disturbances of a cycle: feed held; feed turned down to 0; fault, then goes on; fault that aborts at once;
fault, interrupted, aborted later; tool broken."""


class Fault(NamedTuple):
    """An alarm of the control: code and text."""

    code: str
    text: str


IN_CYCLE = (
    Fault("A210", "Coolant pressure too low"),
    Fault("A214", "Chip conveyor jammed"),
    Fault("A307", "Axis following error"),
    Fault("A118", "Hydraulic pressure of the fixture too low"),
    Fault("A402", "Spindle temperature too high"),
)
BETWEEN = (
    Fault("B031", "Loader: no part in place"),
    Fault("B044", "Fixture not clamped"),
    Fault("B052", "Door does not close"),
    Fault("A220", "Lubricant level too low"),
)
BROKEN_TOOL = Fault("C101", "Tool breakage detected")
LIFE_OVER = Fault("C120", "Tool life ended, no sister tool")
BREAKDOWN = Fault("A900", "Drive out of order, service called")


class Range(NamedTuple):
    """A duration in s: at least ``low``, on average ``low`` + ``extra``, never above ``high``."""

    low: float
    extra: float
    high: float

    def draw(self, rng: Random) -> float:
        """A duration, exponential above its minimum."""
        return min(self.high, self.low + rng.expovariate(1.0 / self.extra))


_LONG_WAIT = Range(60, 360, 3600)
_HOLD = Range(8, 40, 300)
_REPAIR = Range(60, 480, 5400)
_BREAKDOWN = Range(2400, 4800, 14400)
_NOTICE = Range(15, 90, 600)


@dataclass(frozen=True, slots=True)
class Habits:
    """How a machine and its people behave: chances per cycle, durations in s."""

    short_wait: tuple[float, float] = (7.0, 16.0)
    long_wait_chance: float = 0.022
    long_wait: Range = _LONG_WAIT
    hold_chance: float = 0.012
    hold: Range = _HOLD
    interrupt_chance: float = 0.004
    abort_chance: float = 0.0025
    breakage_chance: float = 0.0006
    between_chance: float = 0.0035
    repair: Range = _REPAIR
    breakdown_chance: float = 0.0002
    breakdown: Range = _BREAKDOWN
    scrap_chance: float = 0.008
    replace: tuple[float, float] = (120.0, 240.0)
    notice: Range = _NOTICE
    setup: tuple[float, float] = (1200.0, 2400.0)
    lot_change: tuple[float, float] = (60.0, 180.0)
    warm_up: tuple[float, float] = (420.0, 600.0)
    off_after: tuple[float, float] = (900.0, 1800.0)
    self_cleared: float = 0.88


def calmed(habits: Habits) -> Habits:
    """The same people and machine, but nothing goes wrong and nobody is late."""
    return replace(
        habits,
        long_wait_chance=0.0,
        hold_chance=0.0,
        interrupt_chance=0.0,
        abort_chance=0.0,
        breakage_chance=0.0,
        between_chance=0.0,
        breakdown_chance=0.0,
        scrap_chance=0.0,
    )


class Disturbance(NamedTuple):
    """What will happen in the next cycle: in the ``at``-th part (0 to 1) of its cutting."""

    kind: str
    at: float


def draw_disturbance(habits: Habits, rng: Random, attended: bool) -> Disturbance | None:
    """What will happen in the next cycle, mostly nothing. Nobody holds a machine that is alone."""
    roll = rng.random()
    at = rng.random()
    hold = habits.hold_chance if attended else 0.0
    for kind, chance in (
        (HOLD, hold * 0.75),
        (OVERRIDE_ZERO, hold * 0.25),
        (INTERRUPT, habits.interrupt_chance),
        (ABORT, habits.abort_chance * 0.6),
        (GIVE_UP, habits.abort_chance * 0.4),
        (BREAKAGE, habits.breakage_chance),
    ):
        if roll < chance:
            return Disturbance(kind, at)
        roll -= chance
    return None
