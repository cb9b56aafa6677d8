"""Ending tasks for certain: a cancellation can be lost on its way.

Where it meets the end of what a request waits for, ``wait_for`` (the library's, and asyncio's before Python 3.12)
hands out the result or the failure instead, and a loop around it would go on for ever. Or it arrives as another
exception than the plain one, which asyncio's own time limit then takes for somebody else's cancellation.
"""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Iterable
from contextlib import asynccontextmanager

AGAIN_S = 0.5


def heed() -> None:
    """Raise a cancellation of the running task that something below it has swallowed."""
    task = asyncio.current_task()
    if task is not None and task.cancelling():
        raise asyncio.CancelledError


@asynccontextmanager
async def within(seconds: float) -> AsyncIterator[None]:
    """A time limit that raises TimeoutError, whatever the library makes of the cancellation on its way."""
    async with asyncio.timeout(seconds):
        try:
            yield
        except asyncio.CancelledError:
            raise asyncio.CancelledError from None


async def stop(tasks: Iterable[asyncio.Task[None] | None]) -> None:
    """Cancel until every one has ended; what they raise is nobody's concern any more."""
    alive = {task for task in tasks if task is not None}
    while alive:
        for task in alive:
            task.cancel()
        ended, alive = await asyncio.wait(alive, timeout=AGAIN_S)
        for task in ended:
            if not task.cancelled():
                task.exception()
