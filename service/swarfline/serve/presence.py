"""What a machine is doing now, or that it is not known; old values are never passed off as live."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from swarfline.facts import UNOBSERVED
from swarfline.serve.room import Room

SILENCE_US = 10_000_000
"""After so long without a commit, by our own clock, the collector counts as gone."""


@dataclass(frozen=True, slots=True)
class Running:
    """The cycle that runs now."""

    start_us: int
    program: str
    part: str
    lot: str


@dataclass(frozen=True, slots=True)
class Presence:
    """A machine at the plant's present. ``since_us`` is None when it was never heard of.

    ``values`` by signal and ``running`` are empty while it is unobserved.
    """

    machine: str
    at_us: int | None
    received_us: int | None
    linked: bool
    condition: str
    since_us: int | None
    values: Mapping[str, Any] = field(default_factory=dict)
    running: Running | None = None


def presence(room: Room, machine: str) -> Presence:
    """The machine's present, as of the last commit."""
    return _presence(room, machine, room.queries.now(machine))


def presences(room: Room) -> list[Presence]:
    """The present of every machine in the plant file's order, all as of one commit."""
    told = room.queries.all_now()
    return [_presence(room, machine.id, told.get(machine.id)) for machine in room.plant.machines]


def _presence(room: Room, machine: str, told: Mapping[str, Any] | None) -> Presence:
    if told is None:
        return Presence(machine, None, None, False, UNOBSERVED, None)
    silent = room.clock_us() - told["received_us"] > SILENCE_US
    if silent or not told["linked"] or told["condition"] == UNOBSERVED:
        since = told["since_us"] if told["condition"] == UNOBSERVED else told["at_us"]
        return Presence(machine, told["at_us"], told["received_us"], False, UNOBSERVED, since)
    cycle = told["cycle"]
    return Presence(
        machine,
        told["at_us"],
        told["received_us"],
        True,
        told["condition"],
        told["since_us"],
        told["values"],
        Running(cycle["start_us"], cycle["program"], cycle["part"], cycle["lot"]) if cycle else None,
    )
