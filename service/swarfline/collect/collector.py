"""One collector: the connections of a plant on one side, the store on the other, nothing lost in between.

Readings wait in a bounded queue, are interpreted and committed in groups in one worker thread, and only then
told to the pages. While the database is away the group that failed is tried again as it is; the queue fills
up, then refuses, and the connections tell a gap.
"""

from __future__ import annotations

import asyncio
import gc
import logging
from collections.abc import Callable
from contextlib import suppress
from typing import Any

from swarfline import clock
from swarfline.collect.delivering import Delivering
from swarfline.collect.inbox import Inbox
from swarfline.collect.pipeline import Pipeline
from swarfline.collect.telling import NO_OTHERS, Tongues
from swarfline.collect.watching import Watching
from swarfline.connect import ServerStatus, Supervisor
from swarfline.live import Live
from swarfline.plant import Plant
from swarfline.signals import Reading
from swarfline.store import Batch, Store
from swarfline.tallying import Tallying

REST_S, LONGEST_REST_S = 0.1, 0.3
"""Commits begin at least so far apart; under load they rest as long as they took, up to the second figure, so
that groups grow and the connections get their share of the processor."""
STATES_S = 1.0
"""The states of the connections are stored this often, even when no machine says anything."""
FIRST_RETRY_S, LAST_RETRY_S = 0.5, 15.0

log = logging.getLogger("swarfline.collect")


class Collector:
    """Watches every server of a plant. ``run`` once, as a task of its own, and ``stop`` it: a task that is
    cancelled leaves a worker thread behind that still interprets."""

    def __init__(
        self,
        plant: Plant,
        store: Store,
        live: Live | None = None,
        clock_us: Callable[[], int] = clock.now_us,
        tongues: Tongues = NO_OTHERS,
    ) -> None:
        self._pipeline = Pipeline(plant, store)
        self._watching = Watching(plant, store, clock_us, tongues)
        self._tallying = Tallying(plant, store)
        self._delivering = Delivering(plant, store, clock_us, tongues=tongues)
        self._live = live or Live()
        self._clock_us = clock_us
        self._inbox = Inbox()
        before = self._pipeline.before()
        self._supervisors = [Supervisor(server, plant, self._inbox.lane(), before) for server in plant.servers]
        self._states_s = float("-inf")
        self._stopping = asyncio.Event()
        self._gave_up = False

    def stop(self) -> None:
        """Make ``run`` store what has arrived and return."""
        self._stopping.set()

    async def run(self) -> None:
        """Collect until told to stop. Raises defects, never faults of servers or of the database."""
        await self._store(self._pipeline.losses(self._clock_us()))
        # what was made up to here stays: the collector would look through it again and again
        gc.collect()
        gc.freeze()
        watched = [asyncio.create_task(s.run(), name=s.status.server) for s in self._supervisors]
        self._delivering.start()
        try:
            while not self._stopping.is_set():
                await self._turn(watched)
        finally:
            for task in watched:
                task.cancel()
            await asyncio.gather(*watched, return_exceptions=True)
            await asyncio.to_thread(self._delivering.stop)
        await self._store(self._inbox.take())

    async def _turn(self, watched: list[asyncio.Task[None]]) -> None:
        for task in watched:
            if task.done():
                # a supervisor never ends by itself: this raises the defect that ended it
                task.result()
        loop = asyncio.get_running_loop()
        await self._inbox.wait(STATES_S)
        started = loop.time()
        await self._store(self._inbox.take())
        await self._watch()
        await self._tally()
        took = loop.time() - started
        await self._pause(max(REST_S - took, min(took, LONGEST_REST_S)))

    async def _pause(self, seconds: float) -> None:
        """Time passes, or the end comes."""
        with suppress(TimeoutError):
            await asyncio.wait_for(self._stopping.wait(), seconds)

    async def _store(self, readings: list[Reading]) -> None:
        if self._gave_up:
            # what is interpreted now builds on a group that was never stored: its checkpoint must not be either
            return
        now_s = asyncio.get_running_loop().time()
        due = now_s - self._states_s >= STATES_S
        if not readings and not due:
            return
        states = {s.server: _plain(s) for s in (v.status for v in self._supervisors)} if due else {}
        batch = await asyncio.to_thread(self._pipeline.take, readings, self._clock_us(), states)
        await self._commit(batch)
        if due:
            self._states_s = now_s
        self._watching.note(batch.facts)
        if readings:
            self._live.publish("commit", {"machines": sorted(batch.now)})

    async def _commit(self, batch: Batch) -> None:
        """Until it is stored: nothing that was taken is given up, but a stop waits for no database."""
        delay_s = FIRST_RETRY_S
        while True:
            try:
                await asyncio.to_thread(self._pipeline.commit, batch)
                return
            except Exception as problem:
                what = f"the database does not take {len(batch.readings)} readings: {_first_line(problem)}"
            if self._stopping.is_set():
                self._gave_up = True
                log.error("%s; they are lost, and the time they are of becomes a gap", what)
                return
            log.error("%s; they are kept and tried again in %.1f s", what, delay_s)
            await self._pause(delay_s)
            delay_s = min(2 * delay_s, LAST_RETRY_S)

    async def _watch(self) -> None:
        try:
            changes = await asyncio.to_thread(self._watching.look)
        except Exception:
            # readings must go on being stored; the next look may succeed
            log.exception("the alert rules could not be run")
            return
        if changes is not None:
            await self._commit(changes)
            for alert in changes.raised:
                log.info("alert raised: %s", alert.text)
            self._live.publish("alerts", {"raised": len(changes.raised), "changed": len(changes.changed)})

    async def _tally(self) -> None:
        try:
            await asyncio.to_thread(self._tallying.step)
        except Exception:
            # figures are right without tallies, only slower
            log.exception("a day could not be tallied")


def _first_line(problem: Exception) -> str:
    return str(problem).partition("\n")[0] or type(problem).__name__


def _plain(status: ServerStatus) -> dict[str, Any]:
    """A status as plain data."""
    return {
        name: dict(value) if hasattr(value, "items") else value
        for name in status.__slots__
        for value in (getattr(status, name),)
    }
