"""Connecting a few servers at once, without waiting for those that do not answer."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator
from weakref import WeakKeyDictionary

CONNECTS_AT_ONCE = 8
SHARE_S = 0.5
"""So long a connection may keep others waiting: one that takes longer waits for its server, it does no work."""

_turns: WeakKeyDictionary[asyncio.AbstractEventLoop, asyncio.Semaphore] = WeakKeyDictionary()


@contextlib.asynccontextmanager
async def turn() -> AsyncIterator[None]:
    """A turn to connect. It goes to the next after SHARE_S, though its owner may go on: however many servers
    hang, the others wait for SHARE_S per eight of them at most.
    """
    loop = asyncio.get_running_loop()
    turns = _turns.setdefault(loop, asyncio.Semaphore(CONNECTS_AT_ONCE))
    await turns.acquire()
    is_ours = True

    def pass_on() -> None:
        nonlocal is_ours
        if is_ours:
            is_ours = False
            turns.release()

    late = loop.call_later(SHARE_S, pass_on)
    try:
        yield
    finally:
        late.cancel()
        pass_on()
