"""Sends the messages of one channel: those that are due, in order, each attempt stored before it is made."""

from __future__ import annotations

import logging
import random
from collections.abc import Callable

from swarfline.messages import GIVEN_UP, REFUSED, SENT, Delivery
from swarfline.plant.channels import ChannelTable
from swarfline.sentence import ENGLISH, Tongue
from swarfline.store import Outbox
from swarfline.watch.channels import Channel
from swarfline.watch.deliver import BURST_US, JOINED_REST_US, LONGEST_LATER_S, Later, Pace, Refused, joined, plan

MOST_DUE = 2000
"""Messages that are looked at together."""
SECOND_US, HOUR_US = 1_000_000, 3_600_000_000

log = logging.getLogger("swarfline.deliver")


class Sender:
    """What is known of one channel between its rounds: how often it failed in a row, and until when it rests."""

    def __init__(
        self,
        table: ChannelTable,
        channel: Channel,
        outbox: Outbox,
        plant: str,
        clock_us: Callable[[], int],
        pace: Pace,
        stopping: Callable[[], bool],
        tongue: Tongue = ENGLISH,
    ) -> None:
        self._table = table
        self._channel = channel
        self._outbox = outbox
        self._plant = plant
        self._clock_us = clock_us
        self._pace = pace
        self._stopping = stopping
        self._tongue = tongue
        self._failures = 0
        self._rests_until_us = 0
        self._joined_us: int | None = None

    def round(self) -> bool:
        """Send what is due; whether more may be due at once. Raises the database's errors."""
        now_us = self._clock_us()
        # a rest that would last longer than any was begun before the clock was set back
        if 0 < self._rests_until_us - now_us <= LONGEST_LATER_S * SECOND_US:
            return False
        due = self._outbox.due(self._table.id, now_us, MOST_DUE)
        if not due:
            return False
        sent = self._outbox.settled_since(self._table.id, SENT, now_us - BURST_US)
        chosen = plan(due, sent, self._table.most_at_once, self._joined_lately(now_us))
        if chosen.join:
            whole = joined(chosen.join, self._plant, now_us, self._tongue)
            self._outbox.join(chosen.join, whole, now_us)
            self._joined_us = now_us
        for one in chosen.attempt:
            if self._stopping() or not self._attempt(one):
                return False
        return bool(chosen.join)

    def _joined_lately(self, now_us: int) -> bool:
        return self._joined_us is not None and 0 <= now_us - self._joined_us < JOINED_REST_US

    def _attempt(self, one: Delivery) -> bool:
        """Whether the channel is to go on at once."""
        now_us = self._clock_us()
        if not self._outbox.begin(one, now_us, now_us + round((2 * self._table.timeout_s + 1) * SECOND_US)):
            return True
        try:
            remark = self._channel.send(one.message, now_us)
        except Refused as problem:
            self._failures = 0
            log.error("channel %s: message %d is refused for good: %s", self._table.id, one.number, problem)
            self._outbox.settle(one, REFUSED, self._clock_us(), str(problem))
        except Later as problem:
            self._failed(one, str(problem), problem.after_s)
            return False
        except Exception as problem:
            log.exception("channel %s: message %d could not be sent", self._table.id, one.number)
            self._failed(one, f"a defect of this program, see its log ({type(problem).__name__})", None)
            return False
        else:
            self._failures = 0
            if remark:
                log.warning("channel %s: message %d: %s", self._table.id, one.number, remark)
            self._outbox.settle(one, SENT, self._clock_us(), remark)
        return True

    def _failed(self, one: Delivery, problem: str, asked_s: float | None) -> None:
        now_us = self._clock_us()
        self._failures += 1
        self._rests_until_us = now_us + self._pace.wait_us(self._failures, random.random(), asked_s)
        age_us = now_us - max(one.message.created_us, one.message.not_before_us)
        if age_us >= self._table.give_up_after_h * HOUR_US:
            tried = one.attempts + 1
            log.error(
                "channel %s: message %d is given up after %d attempts: %s",
                self._table.id,
                one.number,
                tried,
                problem,
            )
            self._outbox.settle(one, GIVEN_UP, now_us, problem)
            return
        wait_us = self._pace.wait_us(one.attempts + 1, random.random(), asked_s)
        log.warning(
            "channel %s: message %d could not be sent: %s; it is kept and tried again in %.0f s",
            self._table.id, one.number, problem, wait_us / SECOND_US,
        )  # fmt: skip
        self._outbox.again(one, now_us + wait_us, problem)
