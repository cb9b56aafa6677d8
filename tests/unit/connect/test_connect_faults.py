"""Servers that die, freeze, restart otherwise, or stand behind a network that swallows everything."""

from __future__ import annotations

import asyncio
import logging
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from asyncua import ua

from swarfline.connect.services import Probe, Services

from .plc import Plc
from .proxy import Proxy
from .watching import STATE_AND_COUNT, Watching, plant_file

PLC = Path(__file__).with_name("plc.py")
ONE = {"N1": {"signals": STATE_AND_COUNT}}
UINT32 = ua.VariantType.UInt32


def now_us() -> int:
    return time.time_ns() // 1000


class Processes:
    """Servers as processes of their own; only these are ever ended."""

    def __init__(self, port: int) -> None:
        self._port = port
        self._started: list[subprocess.Popen[str]] = []

    def start(self, *options: str) -> subprocess.Popen[str]:
        process = subprocess.Popen(
            [sys.executable, str(PLC), str(self._port), *options], stdout=subprocess.PIPE, text=True
        )
        self._started.append(process)
        assert process.stdout is not None
        assert process.stdout.readline() == "ready\n"
        return process

    def end_all(self) -> None:
        for process in self._started:
            process.kill()
            process.wait()
            assert process.stdout is not None
            process.stdout.close()


@pytest.fixture
def processes(free_port: int) -> Iterator[Processes]:
    made = Processes(free_port)
    yield made
    made.end_all()


async def test_killed_and_restarted_with_namespaces_in_another_order(processes: Processes, free_port: int) -> None:
    process = processes.start()
    async with Watching(plant_file(f"opc.tcp://127.0.0.1:{free_port}/line", ONE)) as watching:
        await watching.until(lambda: len(watching.of("part_count")) > 10)
        killed_us = now_us()
        os.kill(process.pid, signal.SIGKILL)
        process.wait()
        await watching.until_link("lost")
        found_us = now_us()
        await watching.until(lambda: watching.supervisor.status.state == "waiting")
        restarted_us = now_us()
        processes.start("--other-order")
        await watching.until_link("back", 2)
        status = watching.supervisor.status
        seen = len(watching.of("part_count"))
        await watching.until(lambda: len(watching.of("part_count")) > seen + 5)
    (lost,), (_, back) = watching.links("lost"), watching.links("back")
    assert killed_us - 1_200_000 < lost.source_us <= killed_us + 50_000
    assert found_us - killed_us < 2_000_000
    assert back.source_us > restarted_us
    place, again = watching.got.index(lost), watching.got.index(back)
    assert again - place == 2, "only the clock offset stands between lost and back"
    assert {r.signal for r in watching.got[again + 1 : again + 3]} == {"state", "part_count"}
    assert (status.reconnects, status.refused) == (1, {})


async def test_a_frozen_server_is_found_and_taken_up_again(processes: Processes, free_port: int) -> None:
    process = processes.start()
    async with Watching(plant_file(f"opc.tcp://127.0.0.1:{free_port}/line", ONE, timeout_s=1.0)) as watching:
        await watching.until(lambda: len(watching.of("part_count")) > 5)
        frozen_us = now_us()
        os.kill(process.pid, signal.SIGSTOP)
        try:
            await watching.until_link("lost")
            found_us = now_us()
        finally:
            os.kill(process.pid, signal.SIGCONT)
        await watching.until_link("back", 2)
        await watching.until(lambda: watching.got[-1].signal == "part_count")
    (lost,) = watching.links("lost")
    assert found_us - frozen_us < 5_000_000
    assert frozen_us - 1_500_000 < lost.source_us < frozen_us + 500_000


async def test_a_black_hole_is_found(free_port: int) -> None:
    async with Plc(free_port) as plc, Proxy(free_port) as proxy:
        await plc.machine("N1", State=3, Count=ua.Variant(0, UINT32))
        url = f"opc.tcp://127.0.0.1:{proxy.port}/line"
        async with Watching(plant_file(url, ONE, timeout_s=1.0)) as watching:
            await watching.until_link("back")
            hole_us = now_us()
            proxy.swallow = True
            await watching.until_link("lost")
            found_us = now_us()
            await plc.write("N1/Count", ua.Variant(9, UINT32))
            proxy.swallow = False
            proxy.cut()
            await watching.until_link("back", 2)
            await watching.until(lambda: watching.values("part_count")[-1] == 9)
        assert found_us - hole_us < 5_000_000
        assert watching.links("lost")[0].source_us < hole_us + 100_000


async def test_that_we_stood_still_ourselves_is_not_taken_for_a_lost_server(
    free_port: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As when the process is stopped for a while: the answer is there, but its time has run out as well."""
    probe, stalls = Services.probe, [2.5]

    async def stalled(services: Services) -> Probe:
        asking = asyncio.ensure_future(probe(services))
        if stalls and proxy.lag_s:
            await asyncio.sleep(proxy.lag_s / 2)
            time.sleep(stalls.pop())  # noqa: ASYNC251
        return await asking

    monkeypatch.setattr(Services, "probe", stalled)
    async with Plc(free_port) as plc, Proxy(free_port) as proxy:
        await plc.machine("N1", State=3, Count=ua.Variant(0, UINT32))
        url = f"opc.tcp://127.0.0.1:{proxy.port}/line"
        async with Watching(plant_file(url, ONE, timeout_s=1.0)) as watching:
            await watching.until_link("back")
            proxy.lag_s = 0.2
            await watching.until(lambda: not stalls)
            await plc.write("N1/Count", ua.Variant(9, UINT32))
            await watching.until(lambda: watching.values("part_count")[-1] == 9)
            await asyncio.sleep(1.5)
            assert watching.links("lost") == []
            assert watching.supervisor.status.reconnects == 0


async def test_a_cut_is_found_at_once(free_port: int) -> None:
    async with Plc(free_port) as plc, Proxy(free_port) as proxy:
        await plc.machine("N1", State=3, Count=ua.Variant(0, UINT32))
        url = f"opc.tcp://127.0.0.1:{proxy.port}/line"
        # silence would only be noticed long after the test has given up
        async with Watching(plant_file(url, ONE, keepalive_s=60.0, timeout_s=60.0)) as watching:
            await watching.until_link("back")
            for times in (1, 2):
                proxy.cut()
                await watching.until_link("lost", times, limit_s=30.0)
                await watching.until_link("back", times + 1)
        order = [r.value for r in watching.of("link") if r.value != "alive"]
        assert order == ["back", "lost", "back", "lost", "back"]


@pytest.mark.parametrize("access", ["subscribe", "read"])
async def test_no_server_is_one_clear_line_per_attempt(
    free_port: int, access: str, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.INFO)
    raw = plant_file(f"opc.tcp://127.0.0.1:{free_port}/line", ONE, access=access)
    async with Watching(raw) as watching:
        await watching.until(lambda: watching.supervisor.status.attempts == 2)
        status = watching.supervisor.status
    lines = [record.message for record in caplog.records if record.name == "swarfline.connect"]
    assert "connection refused: is the server running and the port right?" in lines[0]
    assert f"server line (opc.tcp://127.0.0.1:{free_port}/line)" in lines[0]
    assert "next attempt in" in lines[0]
    assert len(lines) <= status.attempts
    assert [record for record in caplog.records if record.name.startswith("asyncua")] == []
    assert watching.got == []


async def test_something_else_listens_there(free_port: int) -> None:
    async def silent(_reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await asyncio.sleep(30)
        writer.close()

    server = await asyncio.start_server(silent, "127.0.0.1", free_port)
    try:
        async with Watching(plant_file(f"opc.tcp://127.0.0.1:{free_port}/x", ONE, timeout_s=0.3)) as watching:
            await watching.until(lambda: watching.supervisor.status.state == "waiting")
            assert "no answer within 0.3 s" in watching.supervisor.status.last_error
    finally:
        server.close()


async def test_a_host_that_does_not_exist() -> None:
    async with Watching(plant_file("opc.tcp://no-such-host.invalid:4840/x", ONE)) as watching:
        await watching.until(lambda: watching.supervisor.status.state == "waiting")
        assert "cannot be resolved" in watching.supervisor.status.last_error


async def test_a_server_that_says_it_failed_is_not_believed(free_port: int) -> None:
    async with Plc(free_port) as plc:
        await plc.machine("N1", State=3, Count=ua.Variant(0, UINT32))
        state = plc.server.get_node(ua.NodeId(ua.ObjectIds.Server_ServerStatus_State))
        async with Watching(plant_file(plc.url, ONE)) as watching:
            await watching.until_link("back")
            await state.write_value(ua.Variant(3, ua.VariantType.Int32))
            await watching.until_link("lost")
            assert "Suspended" in watching.supervisor.status.last_error
            await state.write_value(ua.Variant(0, ua.VariantType.Int32))
            await watching.until_link("back", 2)
