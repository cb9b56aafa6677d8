"""Signals and their interpretation live, over TCP on the loopback."""

from __future__ import annotations

import asyncio
import contextlib
import os
import re
import signal
import sys
import time
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from typing import Any

import pytest
from asyncua import ua

from swarfline.plant import Plant
from swarfline.plant.load import check
from swarfline.signals import LINK, LINK_BACK, Quality, Reading
from swarfline.spectate import Spectacle, because, shown, watch

from .plc import Plc
from .watching import STATE_AND_COUNT, plant_file

UINT32 = ua.VariantType.UInt32
AT_US = 1_767_323_045_678_901
"""2026-01-02T03:04:05.678901Z (date -u -d … +%s), 04:04:05 in Madrid."""


def plant_of(url: str = "opc.tcp://127.0.0.1:1/", machines: tuple[str, ...] = ("N1",), **signals: Any) -> Plant:
    table = {"signals": {**STATE_AND_COUNT, **signals}}
    return check(plant_file(url, dict.fromkeys(machines, table)), "plant.toml")


@asynccontextmanager
async def watched(plant: Plant, *machines: str) -> AsyncIterator[list[str]]:
    lines: list[str] = []
    stop = asyncio.Event()
    task = asyncio.create_task(watch(plant, machines, stop, lines.append))
    try:
        yield lines
    finally:
        stop.set()
        await asyncio.wait_for(task, 60)


async def until(true: Callable[[], Any], lines: list[str]) -> None:
    end_s = time.monotonic() + 60
    while not true():
        assert time.monotonic() < end_s, "\n".join(lines)
        await asyncio.sleep(0.02)


def with_text(lines: list[str], *texts: str) -> list[str]:
    return [line for line in lines if all(text in line for text in texts)]


async def test_a_press_of_the_start_button_arrives_beside_what_it_means(free_port: int) -> None:
    async with Plc(free_port) as plc:
        await plc.machine("N1", State=2, Count=ua.Variant(7, UINT32), Tool="T5", Hold=False)
        plant = plant_of(plc.url, active_tool="t:Tool", feed_hold="t:Hold")
        async with watched(plant) as lines:
            await until(lambda: with_text(lines, "N1 => waiting (state not_executing)", "tool T5"), lines)
            assert with_text(lines, "server line connected")
            assert with_text(lines, "N1 part_count 7")
            await plc.write("N1/State", 3)
            await until(lambda: with_text(lines, "N1 => producing (state executing)"), lines)
            assert with_text(lines, "N1 state executing")
            await plc.write("N1/Count", ua.Variant(9, UINT32))
            await until(lambda: with_text(lines, "=> ", "total parts +2"), lines)
            await plc.write("N1/Hold", True)
            await until(lambda: with_text(lines, "N1 => held (feed_hold True)"), lines)
            await plc.write("N1/State", 9)
            await until(lambda: with_text(lines, "N1/state shows '9', unmapped"), lines)
            assert with_text(lines, "N1 state unknown")
        assert not [line for line in lines if not re.match(r"\d\d:\d\d:\d\d\.\d{3} (N1|server line) ", line)]
        seen = [line for line in lines if " N1 " in line and "=>" not in line]
        assert len([line for line in seen if "state executing" in line]) == 1


async def test_only_the_machines_asked_for_are_read(free_port: int) -> None:
    async with Plc(free_port) as plc:
        for name in ("N1", "N2"):
            await plc.machine(name, State=3, Count=ua.Variant(0, UINT32))
        async with watched(plant_of(plc.url, ("N1", "N2")), "N2") as lines:
            await until(lambda: with_text(lines, "N2 => producing"), lines)
            assert not with_text(lines, "N1")
            (subscription,) = plc.server.iserver.subscription_service.subscriptions.values()
            # the third is for the events that tell of nodes
            assert len(subscription.monitored_item_srv._monitored_items) == 2 + 1


async def test_a_dead_server_is_said_once_with_its_reason(free_port: int) -> None:
    async with watched(plant_of(f"opc.tcp://127.0.0.1:{free_port}/")) as lines:
        await until(lambda: with_text(lines, "connection refused"), lines)
        said = with_text(lines, "server line", "connection refused")
        await asyncio.sleep(0.6)
        assert len(with_text(lines, "server line", "connection refused")) == len(said) == 1


async def test_what_cannot_be_shown_ends_the_command_and_is_no_fault_of_the_server(free_port: int) -> None:
    def broken(_line: str) -> None:
        raise BrokenPipeError

    with pytest.raises(BrokenPipeError):
        await asyncio.wait_for(
            watch(plant_of(f"opc.tcp://127.0.0.1:{free_port}/"), (), asyncio.Event(), broken), 60
        )


def readings(*said: tuple[str, Any]) -> list[Reading]:
    link = Reading("N1", LINK, AT_US, AT_US, LINK_BACK)
    return [link, *(Reading("N1", name, AT_US, AT_US, value) for name, value in said)]


def test_the_table_shows_everything_and_counts_what_does_not_fit() -> None:
    lines: list[str] = []
    spectacle = Spectacle(plant_of(power="t:Power"), ["N1"], lines.append)
    spectacle.take(readings(("state", "executing"), ("part_count", 7), ("power", 2500.0)))
    whole = spectacle.table(AT_US + 90_000_000, 20, 120)
    assert "N1 => producing (state executing)" in whole[1]
    assert [" ".join(row.split()) for row in whole[2:]] == [
        "state executing since 04:04:05.678 (1 min)",
        "part_count 7 since 04:04:05.678 (1 min)",
        "power 2500 W since 04:04:05.678 (1 min)",
    ]
    cut = spectacle.table(AT_US, 3, 12)
    assert len(cut) == 3
    assert cut[-1] == "... 3 more lines; --machine shows one machine"[:12]
    assert max(map(len, cut)) == 12


def test_a_line_is_said_for_a_change_only() -> None:
    lines: list[str] = []
    spectacle = Spectacle(plant_of(), ["N1"], lines.append)
    spectacle.take(readings(("state", "executing")))
    spectacle.take(readings(("state", "executing")))
    assert len(with_text(lines, "N1 state executing")) == 1
    assert with_text(lines, "04:04:05.678 N1 state executing")


@pytest.mark.parametrize(
    ("condition", "values", "reason"),
    [
        ("held", {"feed_hold": True, "program_state": "running"}, "feed_hold True"),
        ("fault", {"alarm": True, "alarm_code": "E1\x1b[2J"}, "alarm True, alarm_code E1�[2J"),
        ("setup", {"state": "executing", "mode": "manual"}, "mode manual"),
        ("unobserved", {}, "no state is told"),
    ],
)
def test_a_condition_names_the_signals_behind_it(condition: str, values: dict[str, Any], reason: str) -> None:
    assert because(condition, True, values) == reason
    assert because(condition, False, values) == "no link"


def test_values_are_shown_with_unit_and_doubt_and_never_steer_the_terminal() -> None:
    assert shown("power", 2500.0, Quality.GOOD) == "2500 W"
    assert shown("part_count", 7, Quality.GOOD) == "7"
    assert shown("power", 1.5, Quality.UNCERTAIN) == "1.5 W (uncertain)"
    assert shown("power", None, Quality.BAD) == "unknown"
    assert shown("lot", "", Quality.GOOD) == "empty"
    assert shown("lot", "\x1b[2J", Quality.GOOD) == "�[2J"


async def test_the_command_writes_lines_without_a_terminal_and_ends_well_on_a_signal(
    free_port: int, tmp_path: Any
) -> None:
    file = tmp_path / "plant.toml"
    file.write_text(
        '[plant]\nname = "Works"\ntime_zone = "Europe/Madrid"\n[namespaces]\nt = "urn:test:line"\n'
        f'[[servers]]\nid = "line"\nendpoint = "opc.tcp://127.0.0.1:{free_port}/line"\n'
        '[[servers.machines]]\nid = "N1"\nroot = "t:N1"\n'
        'signals = { state = "t:State", part_count = "t:Count" }\n'
    )
    async with Plc(free_port) as plc:
        await plc.machine("N1", State=3, Count=ua.Variant(0, UINT32))
        process = await asyncio.create_subprocess_exec(
            sys.executable, "-c", "from swarfline.cli import main; main()", "watch", str(file),
            stdout=asyncio.subprocess.PIPE, env={**os.environ},
        )  # fmt: skip
        assert process.stdout is not None
        told = []
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(60):
                while not (told and b"=> producing" in told[-1]):
                    told.append(await process.stdout.readline())
        process.send_signal(signal.SIGINT)
        assert await asyncio.wait_for(process.wait(), 60) == 0
        assert b"=> producing (state executing)" in told[-1]
        assert not any(b"\x1b" in line for line in told)
        assert [path.name for path in tmp_path.iterdir()] == ["plant.toml"]
