"""One server watched for ever: session after session, with back-off, in the face of any fault."""

from __future__ import annotations

import asyncio
import logging
import random
from collections.abc import Mapping
from types import MappingProxyType

from swarfline import clock
from swarfline.connect.granted import Grant, remarks
from swarfline.connect.links import NOTHING_BEFORE, Links, Sink
from swarfline.connect.past import Before
from swarfline.connect.reasons import FULL, Ended, plain
from swarfline.connect.session import Session
from swarfline.connect.status import ServerStatus, Tally
from swarfline.connect.supervise import FULL_DELAY_S, LONGEST_DELAY_S, Attempts
from swarfline.connect.tasks import heed
from swarfline.plant.model import Plant, Server

log = logging.getLogger("swarfline.connect")
_EXPECTED = (Ended, OSError, TimeoutError)
_DEBT_PERIOD_S = 0.5


class Supervisor:
    """Hands the readings of one server's machines to ``sink``. ``run`` once, as a task of its own.

    ``before`` by machine: how it stood when a run before this one ended, with its loss told already.
    """

    def __init__(
        self, server: Server, plant: Plant, sink: Sink, before: Mapping[str, Before] = NOTHING_BEFORE
    ) -> None:
        self._server = server
        self._plant = plant
        self._links = Links((m.id for m in server.machines), sink, server.clock == "server", before)
        self._tally = Tally()
        self._attempts = Attempts(since_us=clock.now_us())

    async def run(self) -> None:
        """Watch until cancelled. A server's faults never raise; they are in ``status`` and in the log."""
        while True:
            self._attempts.start(clock.now_us())
            delay_s = await self._attempt()
            await self._wait(delay_s)

    async def _attempt(self) -> float:
        try:
            await Session(self._server, self._plant, self._links, self._tally, self._on_connected).run()
        except Exception as problem:
            heed()
            return self._ended(problem)
        except asyncio.CancelledError:
            heed()
            # nobody cancelled us: a request's own cancellation got out, and must not end the watching for good
            return self._ended(Ended("a request was given up"))
        return self._ended(Ended("the session ended"))

    def _ended(self, problem: Exception) -> float:
        was_connected = self._attempts.state == "connected"
        self._links.lost()
        reason = plain(problem, self._server.timeout_s)
        longest_s = FULL_DELAY_S if isinstance(problem, FULL) else LONGEST_DELAY_S
        delay_s = self._attempts.ended(clock.now_us(), reason, random.random(), longest_s)
        what = "connection lost" if was_connected else "cannot connect"
        log.warning(
            "server %s (%s): %s: %s; next attempt in %.1f s",
            self._server.id, self._server.endpoint, what, reason, delay_s,
        )  # fmt: skip
        if not isinstance(problem, _EXPECTED):
            log.debug("server %s: details", self._server.id, exc_info=problem)
        return delay_s

    def _on_connected(self) -> None:
        self._attempts.connected(clock.now_us())
        tally = self._tally
        log.info(
            "server %s (%s): connected: %d signals of %d machines, %d refused",
            self._server.id, self._server.endpoint, tally.signals, len(self._links.machines), len(tally.refused),
        )  # fmt: skip
        for found, advice in remarks(self._server, self._grant):
            log.warning("server %s %s: %s", self._server.id, found, advice)
        for name, reason in tally.refused.items():
            log.info("server %s: %s refused: %s", self._server.id, name, reason)

    async def _wait(self, delay_s: float) -> None:
        loop = asyncio.get_running_loop()
        until_s = loop.time() + delay_s
        # a loss that the sink had no room for is told as soon as it has
        while not self._links.pay() and loop.time() < until_s:
            await asyncio.sleep(min(_DEBT_PERIOD_S, max(0.0, until_s - loop.time())))
        await asyncio.sleep(max(0.0, until_s - loop.time()))

    @property
    def _grant(self) -> Grant:
        tally = self._tally
        return Grant(
            tally.revised_publishing_ms, tally.revised_sampling_ms, tally.revised_queue_size,
            watched=tally.watched, read=tally.read,
        )  # fmt: skip

    @property
    def status(self) -> ServerStatus:
        """How the connection stands now."""
        attempts, tally = self._attempts, self._tally
        return ServerStatus(
            server=self._server.id,
            endpoint=self._server.endpoint,
            state=attempts.state,
            since_us=attempts.since_us,
            last_error=attempts.last_error,
            attempts=attempts.attempts,
            next_attempt_us=attempts.next_attempt_us,
            reconnects=attempts.reconnects,
            changes=tally.changes,
            overflows=tally.overflows,
            sequence_gaps=tally.sequence_gaps,
            republished=tally.republished,
            signals=tally.signals,
            refused=MappingProxyType(dict(tally.refused)),
            unmapped=MappingProxyType(dict(tally.unmapped)),
            unmapped_counts=MappingProxyType(dict(tally.unmapped_counts)),
            ignored=MappingProxyType(dict(tally.ignored.counts)),
            ignored_last=MappingProxyType(dict(tally.ignored.examples)),
            clock_offset_us=tally.clock_offset_us,
            revised_publishing_ms=tally.revised_publishing_ms,
            revised_sampling_ms=tally.revised_sampling_ms,
            revised_queue_size=tally.revised_queue_size,
            remarks=tuple(f"{found}: {advice}" for found, advice in remarks(self._server, self._grant)),
            changes_per_s=tally.pace.per_s(clock.now_us()),
            last_life_us=self._links.life_us,
            last_publish_us=tally.last_publish_us,
            readbacks=tally.readbacks,
            last_readback_us=tally.last_readback_us,
        )
