"""The bounded queue: takes whole batches or refuses them."""

from __future__ import annotations

import asyncio

from collect.line import cycle
from swarfline.collect.inbox import Inbox


def test_batches_come_out_in_order_and_once():
    inbox = Inbox()
    one, other = inbox.lane(), inbox.lane()
    first, second = cycle("N1", 0, 1.0), cycle("N2", 0, 1.0)
    assert one(first)
    assert other(second)
    assert inbox.take() == [*first, *second]
    assert inbox.take() == []


def test_what_does_not_fit_is_refused_whole():
    batch = cycle("N1", 0, 1.0)
    inbox = Inbox(limit=len(batch) + 1)
    put = inbox.lane()
    assert put(batch)
    assert not put(batch[:2])
    assert put(batch[:1])
    assert len(inbox) == len(batch) + 1
    assert inbox.take() == [*batch, batch[0]]
    assert put(batch[:2])


def test_a_flood_takes_no_room_from_the_others():
    batch = cycle("N1", 0, 1.0)
    assert len(batch) >= 4
    inbox = Inbox(limit=2 * len(batch))
    flood, calm = inbox.lane(), inbox.lane()
    while flood(batch[:1]):
        pass
    assert len(inbox) == 2 * len(batch)
    for _ in batch:
        assert calm(batch[:1])
        assert not flood(batch[:1])
    assert not calm(batch[:1]), "its share is used up too: the whole is bounded"
    inbox.take()
    assert flood(batch)


def test_a_batch_beyond_the_limit_is_taken_when_nothing_waits():
    batch = cycle("N1", 0, 1.0)
    inbox = Inbox(limit=3)
    put = inbox.lane()
    assert put(batch)
    assert not put(batch)
    assert inbox.take() == batch


async def test_waiting_ends_with_the_first_batch_or_with_time():
    inbox = Inbox()
    loop = asyncio.get_running_loop()
    begun = loop.time()
    await inbox.wait(0.05)
    assert loop.time() - begun >= 0.04
    loop.call_later(0.05, inbox.lane(), cycle("N1", 0, 1.0))
    await asyncio.wait_for(inbox.wait(600), 60)
    assert len(inbox) > 0
    inbox.take()
    waiting = asyncio.create_task(inbox.wait(60))
    await asyncio.sleep(0.05)
    assert not waiting.done()
    waiting.cancel()
