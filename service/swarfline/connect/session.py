"""One session with one server, from connecting to its end; the next attempt makes a new one."""

from __future__ import annotations

import asyncio
import contextlib
import logging
from collections.abc import Callable, Iterator

from asyncua import ua

from swarfline import clock
from swarfline.connect.chores import Chores
from swarfline.connect.client import connect, leave, new_client
from swarfline.connect.decode import Decoder
from swarfline.connect.links import Links
from swarfline.connect.mixed import Mixed
from swarfline.connect.names import Names
from swarfline.connect.poll import Poller
from swarfline.connect.rawhistory import RawHistory
from swarfline.connect.readback import Readback
from swarfline.connect.reasons import Ended
from swarfline.connect.services import Probe, Services
from swarfline.connect.source import Source
from swarfline.connect.status import Tally
from swarfline.connect.steps import Steps
from swarfline.connect.stock import Stock
from swarfline.connect.subscribe import NO_SUBSCRIPTIONS, Subscription
from swarfline.connect.supervise import LATE_S, ClockOffset, Signs, probe_period_s, verdict
from swarfline.connect.tasks import heed, stop
from swarfline.plant.checks import namespaces
from swarfline.plant.model import Plant, Server

log = logging.getLogger("swarfline.connect")

LOOK_S = 0.5
_FIRST_OFFSETS = 3
_WELL = (0, 5, 7, None)
"""ServerState Running, Test, Unknown, or not told; anything else means that the values are not to be trusted."""


class Session:
    """Use once: ``run`` returns only by raising, with Ended or whatever failed."""

    def __init__(
        self, server: Server, plant: Plant, links: Links, tally: Tally, on_connected: Callable[[], None]
    ) -> None:
        self._server = server
        self._plant = plant
        self._links = links
        self._tally = tally
        self._on_connected = on_connected
        self._loop = asyncio.get_running_loop()
        self._wake = asyncio.Event()
        self._lost = ""
        self._offset = ClockOffset()
        self._published_us = 0
        self._client = new_client(server, self._on_lost)
        self._services = Services(self._client)
        self._decoder: Decoder
        self._source: Source | None = None
        self._chores: Chores
        self._steps = Steps(self._offset, self._probe, links.values, self._tell_offset)
        self._tasks: list[asyncio.Task[None]] = []

    async def _on_lost(self, _problem: BaseException) -> None:
        self._lost = "the connection was closed by the server or the network"
        self._wake.set()

    async def run(self) -> None:
        """Connect, watch, and raise the reason of the end."""
        orderly = False
        try:
            await connect(self._client, self._server, self._plant.path)
            await self._prepare()
            await self._watch()
        except asyncio.CancelledError:
            orderly = True
            raise
        except Ended:
            orderly = not self._lost
            raise
        finally:
            await self._close(orderly)

    async def _prepare(self) -> None:
        self._links.begin()
        self._tally.renew()
        names = Names(namespaces(self._plant), await self._services.learn())
        for _ in range(_FIRST_OFFSETS):
            await self._probe()
        self._decoder = Decoder(names, self._tally, self._server.clock == "server")
        source = await self._start_source()
        self._links.paced(source.interval_s)
        stock = Stock(
            self._plant, self._server.machines, self._services, names, self._decoder, source, self._tally,
            self._look_again,
        )  # fmt: skip
        readback = Readback(
            self._server, self._plant, self._services, RawHistory(self._client, self._services), stock,
            self._decoder, self._links, self._tally, lambda: self._offset.offset_us,
        )  # fmt: skip
        self._chores = Chores(
            self._services, stock, self._decoder, self._links, source, self._open_offset, readback
        )
        await stock.fill()
        # after the values: where places are few, those come first
        await source.tell_of_changes(self._model_changed)
        self._links.paced(source.interval_s)
        if self._server.clock == "ours":
            self._steps.paced(source.interval_s)
        self._chores.filled()
        self._on_connected()

    async def _start_source(self) -> Source:
        """A subscription as far as it goes; a cyclic read where the plant file or the server wants that."""
        poller = Poller(self._services, self._server, self._tally, self._receive)
        self._source = poller
        if self._server.access == "subscribe":
            subscription = Subscription(self._client, self._services, self._server, self._tally, self._receive)
            mixed = Mixed(subscription, poller)
            try:
                await mixed.start()
            except NO_SUBSCRIPTIONS as problem:
                log.info("server %s refuses subscriptions (%s): reading in a cycle", self._server.id, problem)
            else:
                self._source = mixed
                return mixed
        await poller.start()
        return poller

    def _model_changed(self) -> None:
        self._chores.model_changed = True

    def _look_again(self) -> None:
        self._chores.tools_due = True

    def _tell_offset(self, offset_us: int) -> None:
        self._links.offset(offset_us, clock.now_us())

    def _open_offset(self) -> int | None:
        return self._offset.news(force=True)

    def _receive(self, handles: list[int], values: list[ua.DataValue], now_us: int, gap: bool) -> None:
        links, decoder = self._links, self._decoder
        good_us, good_source_us = self._published_us or now_us, links.source_us
        readings = decoder.decode(zip(handles, values, strict=True), now_us, links.fallback_us(now_us))
        self._tally.changes += len(handles)
        self._tally.pace.add(len(handles), now_us)
        if gap or decoder.overflowed:
            # a loss comes after what was received before it
            self._steps.let_go()
        if gap:
            self._tally.sequence_gaps += 1
            self._chores.torn(links.machines, good_us, good_source_us)
        elif decoder.overflowed:
            self._chores.torn([m for m in links.machines if m in decoder.overflowed], good_us, good_source_us)
        decoder.overflowed.clear()
        if self._chores.is_open:
            self._steps.take(readings, now_us)
        else:
            links.values(readings, now_us)
        self._published_us = now_us
        self._chores.arrived(handles)
        if links.full:
            self._wake.set()

    async def _watch(self) -> None:
        beside = (self._probe_on(), self._chores.run(), self._steps.run())
        self._tasks = [asyncio.create_task(work) for work in beside]
        looked_s = self._loop.time()
        while True:
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(LOOK_S):
                    await self._wake.wait()
            heed()
            self._wake.clear()
            looked_s = self._look(looked_s)
            if self._chores.is_open and not self._steps.is_holding:
                self._links.alive(clock.now_us())

    def _look(self, looked_s: float) -> float:
        for task in self._tasks:
            if task.done():
                task.result()
        assert self._source is not None
        now_s = self._loop.time()
        reason = verdict(
            Signs(
                now_s=now_s,
                looked_s=looked_s,
                period_s=LOOK_S,
                published_s=self._source.heard_s,
                deadline_s=self._source.deadline_s,
                lost=next(self._reasons(), ""),
            )
        )
        if reason is not None:
            raise Ended(reason)
        return now_s

    def _reasons(self) -> Iterator[str]:
        if self._links.full:
            yield "our own queue is full: readings come faster than they are recorded"
        if self._lost:
            yield self._lost
        renewal = self._client._renew_channel_task
        if renewal is not None and renewal.done():
            self._lost = "the secure channel could not be renewed"
            yield self._lost
        if self._source is not None and (why := self._source.ended()):
            yield why

    async def _probe_on(self) -> None:
        while True:
            await asyncio.sleep(probe_period_s(self._server.keepalive_s))
            await self._probe()
            if self._chores.is_open:
                self._steps.measured()

    async def _probe(self) -> None:
        probe = await self._asked()
        self._links.heard(probe.got_us)
        if probe.state not in _WELL:
            state = ua.ServerState(probe.state).name if probe.state in (1, 2, 3, 4, 6) else str(probe.state)
            raise Ended(f"the server says that its state is {state}")
        self._offset.add(probe.sent_us, probe.got_us, probe.current_us, probe.header_us)
        self._tally.clock_offset_us = self._offset.offset_us
        self._links.offset_us = self._offset.offset_us or 0

    async def _asked(self) -> Probe:
        """An answer; asked for once more where we stood still ourselves while it was due."""
        asked_s = self._loop.time()
        try:
            return await self._services.probe()
        except TimeoutError:
            if self._loop.time() - asked_s <= self._server.timeout_s + LATE_S:
                raise
            return await self._services.probe()

    async def _close(self, orderly: bool) -> None:
        await stop(self._tasks)
        self._steps.let_go()
        if self._source is not None:
            await self._source.close()
        await leave(self._client, orderly)
