"""A proxy that changes a bit of what a server says, now and then."""

from __future__ import annotations

import asyncio
import contextlib
import random


class Flipper:
    """Forwards to ``target`` on the loopback; while ``flipping`` every second piece of an answer is changed."""

    def __init__(self, target: int, seed: int) -> None:
        self._target = target
        self._rng = random.Random(seed)
        self._tasks: set[asyncio.Task[None]] = set()
        self.port = 0
        self.flipping = False
        self.flipped = 0

    async def __aenter__(self) -> Flipper:
        self._server = await asyncio.start_server(self._accept, "127.0.0.1", 0)
        self.port = self._server.sockets[0].getsockname()[1]
        return self

    async def __aexit__(self, *_: object) -> None:
        self._server.close()
        for task in self._tasks:
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)

    async def _accept(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        far_reader, far_writer = await asyncio.open_connection("127.0.0.1", self._target)
        for source, sink, answers in ((reader, far_writer, False), (far_reader, writer, True)):
            task = asyncio.create_task(self._forward(source, sink, answers))
            self._tasks.add(task)
            task.add_done_callback(self._tasks.discard)

    async def _forward(self, source: asyncio.StreamReader, sink: asyncio.StreamWriter, answers: bool) -> None:
        try:
            with contextlib.suppress(OSError):
                while data := await source.read(65_536):
                    sink.write(self._changed(data) if answers and self.flipping else data)
                    await sink.drain()
        finally:
            sink.transport.abort()

    def _changed(self, data: bytes) -> bytes:
        if self._rng.random() < 0.5:
            return data
        self.flipped += 1
        place = self._rng.randrange(len(data))
        return data[:place] + bytes([data[place] ^ (1 << self._rng.randrange(8))]) + data[place + 1 :]
