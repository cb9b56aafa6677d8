"""Delivers what waits in the outbox, at least once, beside the collector and never in its way.

Each channel has a thread of its own, so that one that hangs holds up no other; one more escalates alerts that
nobody acknowledges, and forgets old messages. Threads may be left behind at any moment: what they had begun is
due again later.
"""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable
from pathlib import Path

from swarfline.collect.sender import Sender
from swarfline.collect.telling import NO_OTHERS, Telling, Tongues
from swarfline.messages import GIVEN_UP
from swarfline.outlook import plant_now_us
from swarfline.plant import Plant
from swarfline.plant.channels import ChannelTable
from swarfline.sentence import ENGLISH
from swarfline.store import Store
from swarfline.watch.channels import channel_of
from swarfline.watch.deliver import Pace

POLL_S = 1.0
"""The outbox is looked at so often."""
ESCALATE_S = 15.0
"""Standing alerts are looked at so often for those that nobody acknowledged."""
KEPT_US = 100 * 86_400_000_000
"""Messages are kept so long after their last attempt: longer than a month, whose report is known to be made by its
message."""
MOST_STANDING = 100_000
STOP_S = 1.0
"""How long the end waits for the threads; one that is in the middle of an attempt is left."""

log = logging.getLogger("swarfline.deliver")


class Delivering:
    """The threads of one plant's channels."""

    def __init__(
        self,
        plant: Plant,
        store: Store,
        clock_us: Callable[[], int],
        pace: Pace | None = None,
        poll_s: float = POLL_S,
        escalate_s: float = ESCALATE_S,
        tongues: Tongues = NO_OTHERS,
    ) -> None:
        self._plant = plant
        self._store = store
        self._clock_us = clock_us
        self._telling = Telling(plant, clock_us, tongues)
        self._tongues = tongues
        self._pace = pace or Pace()
        self._stop = threading.Event()
        self._threads = [self._thread(self._sender(table).round, poll_s, table.id) for table in plant.channels]
        self._threads.append(self._thread(self._tend, escalate_s, "escalations"))

    def start(self) -> None:
        """Begin; once."""
        for thread in self._threads:
            thread.start()

    def stop(self) -> None:
        """End, leaving what still waits to the next start."""
        self._stop.set()
        end_s = time.monotonic() + STOP_S
        for thread in self._threads:
            if thread.ident is not None:
                thread.join(max(0.0, end_s - time.monotonic()))

    def _sender(self, table: ChannelTable) -> Sender:
        channel = channel_of(table, Path(self._plant.path).parent)
        return Sender(
            table, channel, self._store.outbox, self._plant.plant.name, self._clock_us, self._pace,
            self._stop.is_set, self._tongues.get(table.language, ENGLISH),
        )  # fmt: skip

    def _thread(self, work: Callable[[], bool], rest_s: float, name: str) -> threading.Thread:
        return threading.Thread(target=self._go_on, args=(work, rest_s, name), name=f"deliver {name}", daemon=True)

    def _go_on(self, work: Callable[[], bool], rest_s: float, name: str) -> None:
        while not self._stop.is_set():
            try:
                if work():
                    continue
            except Exception:
                # the database may be away; what waits there is not lost
                log.exception("delivery (%s) failed and is tried again", name)
            self._stop.wait(rest_s)

    def _tend(self) -> bool:
        """Queue escalations that are due, end what no channel is there for, forget what is old."""
        outbox, now_us = self._store.outbox, self._clock_us()
        known = [channel.id for channel in self._plant.channels]
        for one in outbox.waiting_elsewhere(known, 1000):
            log.error(
                "message %d waits for channel %s, which the plant file has not", one.number, one.message.channel
            )
            outbox.settle(one, GIVEN_UP, now_us, "the plant file has no such channel any more", begun=False)
        if any(channel.escalate_to is not None for channel in self._plant.channels):
            self._escalate()
        outbox.forget(now_us - KEPT_US)
        return False

    def _escalate(self) -> None:
        standing = self._store.queries.alerts(standing=True, limit=MOST_STANDING)
        plant_us = plant_now_us(self._plant, self._store.queries, self._clock_us)
        told = self._telling.escalations(standing, plant_us)
        there = self._store.outbox.keys(message.key for message in told)
        fresh = [message for message in told if (message.channel, message.key) not in there]
        if fresh:
            self._store.outbox.add(fresh)
