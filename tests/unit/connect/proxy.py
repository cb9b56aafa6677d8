"""A TCP proxy on the loopback that can turn into a black hole or cut its connections."""

from __future__ import annotations

import asyncio
import contextlib


class Proxy:
    """Forwards to ``port`` on the loopback. ``swallow``: connections stay open, nothing comes through."""

    def __init__(self, port: int) -> None:
        self._target = port
        self._writers: set[asyncio.StreamWriter] = set()
        self._tasks: set[asyncio.Task[None]] = set()
        self.swallow = False
        self.port = 0

    async def __aenter__(self) -> Proxy:
        self._server = await asyncio.start_server(self._accept, "127.0.0.1", 0)
        self.port = self._server.sockets[0].getsockname()[1]
        return self

    async def __aexit__(self, *_: object) -> None:
        self._server.close()
        self.cut()
        for task in self._tasks:
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)

    def cut(self) -> None:
        """Close every connection, as a switch that loses power would not, but a firewall does."""
        for writer in self._writers:
            writer.transport.abort()
        self._writers.clear()

    async def _accept(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        try:
            far_reader, far_writer = await asyncio.open_connection("127.0.0.1", self._target)
        except OSError:
            writer.transport.abort()
            return
        self._writers |= {writer, far_writer}
        for source, sink in ((reader, far_writer), (far_reader, writer)):
            task = asyncio.create_task(self._pump(source, sink))
            self._tasks.add(task)
            task.add_done_callback(self._tasks.discard)

    async def _pump(self, source: asyncio.StreamReader, sink: asyncio.StreamWriter) -> None:
        with contextlib.suppress(OSError):
            while data := await source.read(65_536):
                if not self.swallow:
                    sink.write(data)
                    await sink.drain()
        sink.transport.abort()
