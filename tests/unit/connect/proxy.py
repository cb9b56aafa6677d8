"""A TCP proxy on the loopback that does what networks do: cut, swallow, delay, drip, refuse."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Coroutine

_DRIP_S = 0.1


class Proxy:
    """Forwards to ``port`` on the loopback. The settings may be changed at any moment, also of open connections.

    ``swallow``: connections stay open, nothing comes through; ``swallow_answers``: nothing from the server.
    ``lag_s``: everything arrives so much later, each way. ``drip``: bytes a second that come from the server at
    most. ``refuse``: new connections are closed at once.
    """

    def __init__(self, port: int) -> None:
        self._target = port
        self._writers: set[asyncio.StreamWriter] = set()
        self._tasks: set[asyncio.Task[None]] = set()
        self.swallow = self.swallow_answers = False
        self.lag_s = 0.0
        self.drip: int | None = None
        self.refuse = False
        self.port = 0

    async def __aenter__(self) -> Proxy:
        self._server = await asyncio.start_server(self._accept, "127.0.0.1", self.port)
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
            if self.refuse:
                raise OSError
            far_reader, far_writer = await asyncio.open_connection("127.0.0.1", self._target)
        except OSError:
            writer.transport.abort()
            return
        self._writers |= {writer, far_writer}
        self._keep(self._pump(reader, far_writer))
        self._keep(self._pump(far_reader, writer))

    def _keep(self, work: Coroutine[None, None, None]) -> None:
        task = asyncio.create_task(work)
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)

    async def _pump(self, source: asyncio.StreamReader, sink: asyncio.StreamWriter) -> None:
        """Reading and writing are apart, so that a lag delays what comes but does not slow it down."""
        loop = asyncio.get_running_loop()
        pieces: asyncio.Queue[tuple[float, bytes]] = asyncio.Queue(64)
        self._keep(self._pour(pieces, sink))
        with contextlib.suppress(OSError):
            while data := await source.read(65_536):
                await pieces.put((loop.time() + self.lag_s, data))
        await pieces.put((loop.time(), b""))

    async def _pour(self, pieces: asyncio.Queue[tuple[float, bytes]], sink: asyncio.StreamWriter) -> None:
        loop = asyncio.get_running_loop()
        with contextlib.suppress(OSError):
            while True:
                due_s, data = await pieces.get()
                if not data:
                    break
                await asyncio.sleep(max(0.0, due_s - loop.time()))
                if not (self.swallow or (self.swallow_answers and self._is_ours(sink))):
                    await self._write(data, sink)
        sink.transport.abort()

    def _is_ours(self, sink: asyncio.StreamWriter) -> bool:
        """Whether it leads back to who connected to us."""
        return bool(sink.get_extra_info("sockname")[1] == self.port)

    async def _write(self, data: bytes, sink: asyncio.StreamWriter) -> None:
        while data and self.drip is not None and self._is_ours(sink):
            share = max(1, round(self.drip * _DRIP_S))
            sink.write(data[:share])
            await sink.drain()
            data = data[share:]
            await asyncio.sleep(_DRIP_S)
        sink.write(data)
        await sink.drain()
