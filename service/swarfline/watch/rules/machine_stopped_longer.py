"""A machine has been standing in planned time for longer than is allowed for what it is doing.

What counts is the time in each condition within one stop, so that a fault that is acknowledged and comes back is
one; breaks and other unplanned times do not count. The facts tell since when, so a restart changes nothing.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Protocol

from swarfline.alerts import Sighting
from swarfline.facts import FAULT, HELD, OFF, OUT_OF_SERVICE, PRODUCING, SETUP, UNOBSERVED, WAITING
from swarfline.sentence import N_, Sentence
from swarfline.watch.wording import Seen, cut, moment, text_of

NAME = "machine_stopped_longer"

_STANDS = {
    FAULT: N_("{machine} has been in fault for more than {limit:g} min"),
    HELD: N_("{machine} has been held for more than {limit:g} min"),
    WAITING: N_("{machine} has been waiting for more than {limit:g} min"),
    SETUP: N_("{machine} has been in setup for more than {limit:g} min"),
    OUT_OF_SERVICE: N_("{machine} has been out of service for more than {limit:g} min"),
    OFF: N_("{machine} has been off for more than {limit:g} min"),
}


@dataclass(frozen=True, slots=True)
class Standing:
    """What a machine is doing, and the stop that goes on.

    ``since_us`` is when the present condition began; ``by_condition`` holds the planned µs of the stop so far,
    empty where none goes on. ``in_shift``: a shift runs now, a break in it included.
    """

    machine: str
    condition: str
    since_us: int | None
    in_shift: bool
    by_condition: Mapping[str, int] = field(default_factory=dict)
    stop_us: int | None = None
    alarm: str = ""


class Settings(Protocol):
    """A part of [alerts.machine_stopped_longer], with the same meanings."""

    waiting_min: float | None
    fault_min: float | None
    held_min: float | None
    setup_min: float | None
    out_of_service_min: float | None
    off_min: float | None
    clear_s: float


def see(standing: Standing, settings: Settings, now_us: int) -> Sighting:
    """Whether a machine stands for too long; out of sight, all stays as it was."""
    limits = _limits_min(settings)
    over = [
        condition
        for condition, limit in limits.items()
        if limit is not None and standing.by_condition.get(condition, 0) >= limit * 60e6
    ]
    active = standing.in_shift and bool(over)
    detail: dict[str, object] = {
        "condition": standing.condition,
        "over": over[0] if over else None,
        "limit_min": limits[over[0]] if over else None,
        "stop_at": moment(standing.stop_us),
        "alarm": cut(standing.alarm),
    }
    return Sighting(
        NAME,
        standing.machine,
        "machine",
        active,
        not active and (not standing.in_shift or _produces(standing, settings, now_us)),
        text=text_of(say, standing.machine, detail),
        detail=detail,
    )


def _limits_min(settings: Settings) -> dict[str, float | None]:
    """In the order in which the text prefers them."""
    return {
        FAULT: settings.fault_min,
        HELD: settings.held_min,
        WAITING: settings.waiting_min,
        SETUP: settings.setup_min,
        OUT_OF_SERVICE: settings.out_of_service_min,
        OFF: settings.off_min,
    }


def _produces(standing: Standing, settings: Settings, now_us: int) -> bool:
    if standing.condition in (UNOBSERVED, "") or standing.since_us is None:
        return False
    return standing.condition == PRODUCING and now_us - standing.since_us >= settings.clear_s * 1e6


def say(seen: Seen) -> Sentence:
    """In which condition it has been for longer than allowed, and the alarm of a fault."""
    over = seen["over"]
    if over is None:
        return Sentence(N_("{machine} stands"), {"machine": seen["machine"]})
    stands = Sentence(_STANDS[over], {"machine": seen["machine"], "limit": seen["limit_min"]})
    if over != FAULT or not seen["alarm"]:
        return stands
    return Sentence("{stands}: {alarm}", {"stands": stands, "alarm": seen["alarm"]})
