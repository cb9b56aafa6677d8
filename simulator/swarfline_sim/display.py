"""Shows a machine's values in the address space, with the times at which they really changed."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import cast

from asyncua import ua
from asyncua.server.address_space import AddressSpace
from asyncua.ua.attribute_ids import AttributeIds

from swarfline_sim.bindings import Bindings
from swarfline_sim.events import HOUR_US, MINUTE_US, Event
from swarfline_sim.keeping import Keeper
from swarfline_sim.layout import POWER_ON

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
POWER_ON_BEFORE_US = 9_000 * HOUR_US
"""Every machine had been on for so long before the model's start."""


def moment(us: int) -> ua.DateTime:
    """Microseconds UTC as a date and time."""
    return cast(ua.DateTime, EPOCH + timedelta(microseconds=us))


class Display:
    """Writes one machine's events. Source and server time stamps are plant time."""

    def __init__(
        self,
        aspace: AddressSpace,
        bindings: Bindings,
        machine: str,
        start_us: int,
        keeper: Keeper | None = None,
    ) -> None:
        self._keeper = keeper
        self._aspace = aspace
        self._bindings = bindings
        self._machine = machine
        self._last: dict[str, Event] = {}
        self._on_us = POWER_ON_BEFORE_US
        self._mark_us = start_us
        self._on = False
        self._minute_us = 0

    def note(self, events: list[Event]) -> None:
        """Take in events that nobody is to see as they happen: only the last of each signal counts."""
        for event in events:
            self._last[event.signal] = event
            if event.signal == "state":
                self._switch(event)

    async def show_all(self) -> None:
        """Write the last value of every signal noted, with which histories begin."""
        for event in self._last.values():
            for node, value in await self._write(event):
                if self._keeper is not None:
                    self._keeper.begin(node, value)
        self._last = {}

    async def show(self, events: list[Event], until_us: int) -> None:
        """Write events as they happen, and the power-on time once a minute of plant time."""
        for event in events:
            if event.signal == "state":
                self._switch(event)
            await self._show(event)
        minute_us = until_us - until_us % MINUTE_US
        if minute_us > self._minute_us:
            self._minute_us = minute_us
            await self._show_power_on(minute_us)

    def _switch(self, event: Event) -> None:
        if self._on:
            self._on_us += event.t_us - self._mark_us
        self._mark_us = event.t_us
        self._on = event.value != "not_available"

    async def _show_power_on(self, t_us: int) -> None:
        # counted up to the last whole minute, but not back before the last switch
        running_us = max(0, t_us - self._mark_us) if self._on else 0
        await self._show(Event(t_us, self._machine, POWER_ON, (self._on_us + running_us) / 1000))

    async def _show(self, event: Event) -> None:
        for node, value in await self._write(event):
            if self._keeper is not None:
                self._keeper.keep(node, value)

    async def _write(self, event: Event) -> list[tuple[ua.NodeId, ua.DataValue]]:
        """Show what happened; the nodes and what each shows now."""
        stamp, written = moment(event.t_us), []
        for node, convert in self._bindings.get(event.signal, ()):
            value = ua.DataValue(convert(event.value), ua.StatusCode(), stamp, stamp)
            (await self._aspace.write_attribute_value(node, AttributeIds.Value, value)).check()
            written.append((node, value))
        return written
