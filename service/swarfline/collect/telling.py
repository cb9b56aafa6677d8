"""From the plant file to what is told of its alerts, and the messages beside the alerts' changes."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from typing import TypeAlias
from zoneinfo import ZoneInfo

from swarfline.alerts import Alert
from swarfline.messages import Message
from swarfline.plant import Plant
from swarfline.plant.channels import ChannelTable, QuietTable
from swarfline.plant.times import DAYS
from swarfline.sentence import ENGLISH, Tongue
from swarfline.store import Batch
from swarfline.watch.notices import Quiet, Terms, Wish, escalations, notices

MINUTE_US = 60_000_000


Tongues: TypeAlias = Mapping[str, Tongue]
"""Languages by their codes; what is not among them is told in English."""
NO_OTHERS: Tongues = {}


class Telling:
    """Makes messages of one plant's alerts; when they are made is told by our own clock."""

    def __init__(self, plant: Plant, clock_us: Callable[[], int], tongues: Tongues = NO_OTHERS) -> None:
        self._terms = terms_of(plant, tongues)
        self._clock_us = clock_us

    def with_messages(self, batch: Batch | None, before: Iterable[Alert], plant_now_us: int) -> Batch | None:
        """The same changes of alerts with the messages about them; ``before``: the alerts as they were."""
        if batch is None:
            return None
        told = notices(batch.raised, batch.changed, before, self._terms, plant_now_us, self._clock_us())
        return replace(batch, messages=[*batch.messages, *told])

    def escalations(self, standing: Iterable[Alert], plant_now_us: int) -> list[Message]:
        """Messages about alerts that nobody acknowledged in time; the same ones at every call."""
        return escalations(standing, self._terms, plant_now_us, self._clock_us())


def terms_of(plant: Plant, tongues: Tongues = NO_OTHERS) -> Terms:
    """What the channels of a checked plant want to be told."""
    wishes = tuple(_wish(plant, channel, tongues) for channel in plant.channels)
    page = f"{plant.listen.origins[0]}/alerts" if plant.listen.origins else ""
    return Terms(plant.plant.name, ZoneInfo(plant.plant.time_zone), wishes, page)


def _wish(plant: Plant, channel: ChannelTable, tongues: Tongues) -> Wish:
    return Wish(
        channel.id,
        frozenset(channel.severities),
        frozenset(channel.rules),
        _places(plant, channel),
        channel.alerts,
        channel.tell_cleared,
        None if channel.quiet is None else _quiet(channel.quiet),
        None if channel.collect_min is None else round(channel.collect_min * MINUTE_US),
        channel.daily_at,
        channel.urgent_at_once,
        channel.escalate_to,
        round(channel.escalate_after_min * MINUTE_US),
        tongues.get(channel.language, ENGLISH),
    )


def _places(plant: Plant, channel: ChannelTable) -> frozenset[str] | None:
    """The machines that a channel is about, and their servers; None: all of them."""
    if not channel.machines and not channel.cells:
        return None
    chosen = {m.id for m in plant.machines if m.id in channel.machines or m.cell in channel.cells}
    servers = {f"server/{s.id}" for s in plant.servers if any(m.id in chosen for m in s.machines)}
    return frozenset(chosen | servers)


def _quiet(table: QuietTable) -> Quiet:
    return Quiet(table.start, table.end, frozenset(DAYS.index(day) + 1 for day in table.days))
