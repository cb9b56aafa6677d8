"""Many servers in one process: one that hangs, drips, talks nonsense or floods disturbs no other."""

from __future__ import annotations

import asyncio
import contextlib
import os
from collections.abc import AsyncIterator, Awaitable, Callable

import pytest
from asyncua import ua

from swarfline.connect import turns

from .plc import Plc
from .watching import STATE_AND_COUNT, Watching, plant_file

UINT32 = ua.VariantType.UInt32
ONE = {"N1": {"signals": STATE_AND_COUNT}}
Talk = Callable[[asyncio.StreamReader, asyncio.StreamWriter], Awaitable[None]]


async def says_nothing(_reader: asyncio.StreamReader, _writer: asyncio.StreamWriter) -> None:
    await asyncio.Event().wait()


async def drips(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    """An acknowledge of OPC 10000-6 section 7.1.2.4, a byte each tenth of a second, then again."""
    await reader.read(100)
    while True:
        for byte in b"ACKF\x1c\0\0\0\0\0\0\0\0\0\1\0\0\0\1\0\0\0\0\0\0\0\0\0":
            writer.write(bytes([byte]))
            await writer.drain()
            await asyncio.sleep(0.1)


async def talks_nonsense(_reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    while True:
        writer.write(os.urandom(65_536))
        await writer.drain()


async def sends_one_endless_chunk(_reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    """Of nearly 4 GB, as fast as it is taken."""
    writer.write(b"MSGF\xf0\xff\xff\xff")
    while True:
        writer.write(bytes(65_536))
        await writer.drain()


@contextlib.asynccontextmanager
async def odd_server(talk: Talk) -> AsyncIterator[str]:
    """Its endpoint; its connections end with it."""
    writers: set[asyncio.StreamWriter] = set()

    async def accept(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writers.add(writer)
        with contextlib.suppress(OSError, asyncio.CancelledError):
            await talk(reader, writer)

    server = await asyncio.start_server(accept, "127.0.0.1", 0)
    try:
        yield f"opc.tcp://127.0.0.1:{server.sockets[0].getsockname()[1]}/odd"
    finally:
        server.close()
        for writer in writers:
            writer.transport.abort()


async def test_servers_that_hang_keep_no_other_from_connecting(free_port: int) -> None:
    slow_s = 60.0
    async with contextlib.AsyncExitStack() as all_of_them:
        url = await all_of_them.enter_async_context(odd_server(says_nothing))
        plc = await all_of_them.enter_async_context(Plc(free_port))
        await plc.machine("N1", State=3, Count=ua.Variant(0, UINT32))
        for _ in range(2 * turns.CONNECTS_AT_ONCE):
            await all_of_them.enter_async_context(Watching(plant_file(url, ONE, timeout_s=slow_s)))
        await asyncio.sleep(0.1)
        good = await all_of_them.enter_async_context(Watching(plant_file(plc.url, ONE)))
        await good.until_link("back", limit_s=slow_s / 2)


async def test_odd_servers_cost_the_others_nothing(free_port: int) -> None:
    async with contextlib.AsyncExitStack() as all_of_them:
        plc = await all_of_them.enter_async_context(Plc(free_port))
        await plc.machine("N1", State=3, Count=ua.Variant(0, UINT32))
        good = await all_of_them.enter_async_context(Watching(plant_file(plc.url, ONE)))
        await good.until_link("back")
        odd = []
        for talk in (says_nothing, drips, talks_nonsense, sends_one_endless_chunk):
            url = await all_of_them.enter_async_context(odd_server(talk))
            for _ in range(12):
                odd.append(await all_of_them.enter_async_context(Watching(plant_file(url, ONE, timeout_s=2.0))))
        count = 0
        while not all(watching.supervisor.status.attempts > 1 for watching in odd):
            count += 1
            await plc.write("N1/Count", ua.Variant(count, UINT32))
            await asyncio.sleep(0.02)
        await good.until(lambda: good.values("part_count")[-1] == count)
        for watching in odd:
            assert (watching.got, watching.supervisor.status.last_error == "") == ([], False)
        status = good.supervisor.status
    assert good.values("part_count") == list(range(count + 1))
    assert (good.links("lost"), status.reconnects, status.overflows) == ([], 0, 0)
    assert not any("no answer" in watching.supervisor.status.last_error for watching in odd[-12:]), (
        "an endless chunk is not waited for"
    )


async def test_a_turn_is_passed_on_once(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(turns, "SHARE_S", 0.05)
    most = turns.CONNECTS_AT_ONCE
    inside = 0

    async def quick() -> None:
        nonlocal inside
        async with turns.turn():
            inside += 1
            assert inside <= most
            await asyncio.sleep(0.005)
            inside -= 1

    async def slow() -> None:
        async with turns.turn():
            await asyncio.sleep(0.2)

    await asyncio.gather(*(slow() for _ in range(most)), *(quick() for _ in range(3 * most)))
    await asyncio.gather(*(quick() for _ in range(3 * most)))
