"""What a server grants against what was asked of it, and what that means for the figures. Pure."""

from __future__ import annotations

from typing import NamedTuple

from swarfline.plant.model import Server

MUCH = 1.5
"""Intervals longer than this many times what was asked are worth a word."""


class Grant(NamedTuple):
    """What was granted at worst; times in ms, None where nothing was. ``read`` items are read in a cycle."""

    publishing_ms: float | None
    sampling_ms: float | None
    queue_size: int | None
    watched: int
    read: int


class Remark(NamedTuple):
    """What was found and what to do about it."""

    found: str
    advice: str


def remarks(server: Server, grant: Grant) -> list[Remark]:
    """Where the server gives less than was asked, so that something can be missed or comes late."""
    said = [_publishing(server, grant), _sampling(server, grant), _queue(server, grant), _read(server, grant)]
    return [remark for remark in said if remark is not None]


def _publishing(server: Server, grant: Grant) -> Remark | None:
    if grant.publishing_ms is None or grant.publishing_ms <= MUCH * server.publishing_ms:
        return None
    return Remark(
        f"sends every {grant.publishing_ms:g} ms, not every {server.publishing_ms} ms as asked",
        "what happens is seen so much later; look for a limit in the server's settings",
    )


def _sampling(server: Server, grant: Grant) -> Remark | None:
    # servers state the publishing interval for the sampling of what they need not sample
    asked_ms = max(server.sampling_ms, server.sampling_analog_ms, server.publishing_ms)
    if not grant.watched or grant.sampling_ms is None or grant.sampling_ms <= MUCH * asked_ms:
        return None
    return Remark(
        f"samples some signals every {grant.sampling_ms:g} ms only",
        "what is shorter is missed; look for a limit in the server's settings",
    )


def _queue(server: Server, grant: Grant) -> Remark | None:
    if grant.queue_size is None or grant.publishing_ms is None:
        return None
    sampling_ms = server.sampling_ms or grant.sampling_ms or 0.0
    # where a server reports each change there is no telling how many there are: then the queue has to be as asked
    needed = min(grant.publishing_ms / sampling_ms if sampling_ms else float("inf"), server.queue_size)
    if grant.queue_size >= needed:
        return None
    return Remark(
        f"keeps {grant.queue_size} value(s) of a signal between two messages, of up to {needed:.0f}",
        "what does not fit is lost, and a gap where the server tells of it; set publishing_ms shorter",
    )


def _read(server: Server, grant: Grant) -> Remark | None:
    if server.access == "read" or not grant.read:
        return None
    every_ms = max(server.sampling_ms, server.sampling_analog_ms)
    which = f"watches {grant.watched} items and not {grant.read} others" if grant.watched else "watches nothing"
    return Remark(
        f"{which}: they are read, each {every_ms} ms at the soonest",
        'what is shorter than a cycle is missed; write access = "read" where that is well for all',
    )
