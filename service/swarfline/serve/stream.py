"""/live: Server-Sent Events. At once a snapshot of every machine, then a tick each second, changed or not.

One producer serves all viewers: it looks at the store once per tick and encodes once for each of two kinds, the
whole picture and what pages show of it. What the collector of the same process publishes only wakes it early. A
viewer that is too slow gets a fresh snapshot instead of old ticks.
"""

from __future__ import annotations

import asyncio
import json
import logging
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import suppress
from typing import Annotated, Any, Literal, Protocol

from fastapi import APIRouter, Query, Request
from starlette.responses import StreamingResponse

from swarfline.live import Live, Subscription
from swarfline.serve.signing import signed_in, signing_of
from swarfline.serve.tongue import language

router = APIRouter(tags=["live"])

PERIOD_S = 1.0
LEAST_S = 0.1
"""Ticks are never closer than this, however much is published."""
FIGURES_S = 5.0
"""How often the figures behind the page are computed anew while somebody watches."""
REST = 10
"""Computing them rests at least so many times as long as it took, for the collector needs the processor too."""
RETRY_MS = 2000
ENDED = b"event: ended\ndata: {}\n\n"
"""Last event of a stream whose session has ended."""
DEPTH = 2

_log = logging.getLogger(__name__)

Look = dict[str, Any]
"""What is shown: ``at``, ``cells`` by name, ``alerts``; in a whole one ``machines`` by id."""


class Sight(Protocol):
    """Where the pictures come from. Both are called from worker threads."""

    def look(self, whole: bool) -> Look:
        """The present picture, with the machines where it is to be whole."""

    def refresh(self) -> None:
        """Compute the figures in it anew."""


class Turn:
    """One turn of the stream, encoded once for all viewers, and only as they need it."""

    def __init__(self, number: int, before: Look, after: Look) -> None:
        self._number = number
        self._looks = {"tick": changed(before, after), "snapshot": after}
        self._made: dict[tuple[str, bool], bytes] = {}

    def encoded(self, event: str, whole: bool) -> bytes:
        """The turn as a tick or a snapshot, with the machines where it is to be whole."""
        if (event, whole) not in self._made:
            look = self._looks[event]
            kept = look if whole else {name: value for name, value in look.items() if name != "machines"}
            self._made[event, whole] = encode(event, self._number, kept)
        return self._made[event, whole]


class Viewer:
    """One open stream: a short queue of encoded events; None ends it."""

    def __init__(self, whole: bool = True) -> None:
        self.whole = whole
        self.waiting: asyncio.Queue[bytes | None] = asyncio.Queue(DEPTH)
        self.fresh = True

    def put(self, turn: Turn) -> None:
        """The next event: a tick, or a snapshot for a new viewer and for one that fell behind."""
        behind = self.waiting.full()
        if behind:
            self._empty()
        self.waiting.put_nowait(turn.encoded("snapshot" if self.fresh or behind else "tick", self.whole))
        self.fresh = False

    def end(self) -> None:
        """End the stream."""
        self._empty()
        self.waiting.put_nowait(None)

    def _empty(self) -> None:
        while not self.waiting.empty():
            self.waiting.get_nowait()


class Hub:
    """The producer and its viewers; it works only while somebody watches."""

    def __init__(self, live: Live, sight: Sight) -> None:
        self._live = live
        self._sight = sight
        self._viewers: set[Viewer] = set()
        self._task: asyncio.Task[None] | None = None
        self._joined = asyncio.Event()
        self._closed = False
        self._number = 0
        self._last: Look = {}

    async def watch(
        self, holds: Callable[[], Awaitable[bool]] | None = None, whole: bool = True
    ) -> AsyncIterator[bytes]:
        """The events of one viewer, encoded, for as long as ``holds`` says that they may be had."""
        viewer = Viewer(whole)
        if self._closed:
            return
        self._viewers.add(viewer)
        self._joined.set()
        if self._task is None or self._task.done():
            self._task = asyncio.create_task(self._run())
        try:
            yield f"retry: {RETRY_MS}\n\n".encode()
            while (event := await viewer.waiting.get()) is not None:
                if holds is not None and not await holds():
                    yield ENDED
                    return
                yield event
        finally:
            self._viewers.discard(viewer)

    def close(self) -> None:
        """End every stream, and open no more."""
        self._closed = True
        for viewer in list(self._viewers):
            viewer.end()
        self._joined.set()

    async def _run(self) -> None:
        figures = asyncio.create_task(self._figures())
        try:
            async with self._live.subscribe() as news:
                while self._viewers and not self._closed:
                    started = asyncio.get_running_loop().time()
                    # before the tick: whoever joins during it may have to wait for the next
                    self._joined.clear()
                    await self._tick()
                    await self._rest(news, started)
        finally:
            figures.cancel()

    async def _figures(self) -> None:
        loop = asyncio.get_running_loop()
        took = 0.0
        while True:
            await asyncio.sleep(max(FIGURES_S, took * REST))
            started = loop.time()
            try:
                await asyncio.to_thread(self._sight.refresh)
            except Exception:
                _log.exception("the figures of the page could not be computed")
            took = loop.time() - started

    async def _tick(self) -> None:
        whole = any(viewer.whole for viewer in self._viewers)
        try:
            look = await asyncio.to_thread(self._sight.look, whole)
        except Exception:
            _log.exception("no picture for the stream")
            return
        self._number += 1
        turn = Turn(self._number, self._last, look)
        self._last = look
        for viewer in self._viewers:
            # one that joined meanwhile and wants more than was looked at gets the next turn
            if whole or not viewer.whole:
                viewer.put(turn)

    async def _rest(self, news: Subscription, started: float) -> None:
        """Until a second after ``started``, or until something was published or somebody joined."""
        waits = {asyncio.create_task(news.get()), asyncio.create_task(self._joined.wait())}
        loop = asyncio.get_running_loop()
        _, pending = await asyncio.wait(
            waits, timeout=max(0.0, started + PERIOD_S - loop.time()), return_when=asyncio.FIRST_COMPLETED
        )
        for task in pending:
            task.cancel()
            with suppress(asyncio.CancelledError):
                await task
        await asyncio.sleep(max(0.0, started + LEAST_S - loop.time()))
        news.drain()


def changed(before: Look, after: Look) -> Look:
    """A picture without what was the same before; its time always stays."""
    found: Look = {"at": after["at"]}
    for name in ("machines", "cells"):
        if name not in after:
            continue
        old = before.get(name, {})
        found[name] = {key: value for key, value in after[name].items() if old.get(key) != value}
    if before.get("alerts") != after["alerts"]:
        found["alerts"] = after["alerts"]
    return found


def encode(event: str, number: int, data: Look) -> bytes:
    """One event of the stream (WHATWG HTML, server-sent events)."""
    text = json.dumps(data, separators=(",", ":"), ensure_ascii=False)
    return f"id: {number}\nevent: {event}\ndata: {text}\n\n".encode()


@router.get(
    "/live",
    response_class=StreamingResponse,
    responses={
        200: {
            "description": "Server-Sent Events",
            "content": {"text/event-stream": {"schema": {"type": "string"}}},
        }
    },
)
async def watch_live(
    request: Request,
    of: Annotated[Literal["all", "page"], Query(description="page: without `machines`, as pages need it")] = "all",
) -> StreamingResponse:
    """A snapshot of every machine, then a tick each second with what changed.

    Events `snapshot` and `tick` carry JSON: `at`, `machines` (as in /machines/{id}/now, by id), `cells` (texts
    of the page), `alerts` (those standing; in a tick only when they changed). After a break a new snapshot
    comes, so nothing is replayed. `ended` is the last event where the session or token has ended.
    """
    hub = request.app.state.hubs[language()]
    headers = {"cache-control": "no-store", "x-accel-buffering": "no"}
    holds = signing_of(request).holding(signed_in())
    return StreamingResponse(hub.watch(holds, of == "all"), media_type="text/event-stream", headers=headers)
