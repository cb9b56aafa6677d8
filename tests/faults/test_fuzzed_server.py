"""A server that lies, and bytes that were changed on the way: the service lives, says what it ignored, and the
other machines' facts are untouched.
"""

from __future__ import annotations

import asyncio
import json
import re
import signal
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from asyncua import ua

from system.processes import Process, Service, free_port
from system.waiting import until
from unit.connect.plc import Plc
from unit.connect.watching import STATE_AND_COUNT, Watching, plant_file

from .flipper import Flipper
from .fuzzed import LYING, PARTS, TOOL, URI

pytestmark = pytest.mark.system

SEED = 20_261_125
READY = re.compile(r"^(ready)$", re.MULTILINE)
EXPECTED = {
    "no_value", "wrong_type", "not_finite", "out_of_range", "negative_counter", "fraction_in_counter",
    "no_element", "unmapped_code", "not_decoded", "text_altered", "time_not_believed",
}  # fmt: skip


def plant_text(lying: int, sane: int) -> str:
    """The plant file of both servers; ``limit`` is an element of an array."""

    def server(name: str, port: int, machine: str, signals: dict[str, str], tools: str = "") -> str:
        mapped = "\n".join(f'{signal} = "nsu={URI};s={node}"' for signal, node in signals.items())
        return (
            f'[[servers]]\nid = "{name}"\nendpoint = "opc.tcp://127.0.0.1:{port}/fuzz"\npublishing_ms = 100\n'
            f"sampling_ms = 20\nsampling_analog_ms = 20\nkeepalive_s = 1.0\ntimeout_s = 4.0\n"
            f'[[servers.machines]]\nid = "{machine}"\n[servers.machines.signals]\n{mapped}\n{tools}'
        )

    each = {field: f'"nsu={URI};s=tool.{field}"' for field in TOOL}
    each["limit"] = f'{{ node = "nsu={URI};s=tool.limit", index = 2 }}'
    tools = "[servers.machines.tools.each.1]\n" + "\n".join(f"{field} = {ref}" for field, ref in each.items())
    return "\n".join(
        [
            'plant = { name = "Test works", time_zone = "Europe/Madrid" }',
            f'listen = {{ host = "127.0.0.1", port = {free_port()} }}',
            server("liar", lying, "F1", {name: name for name in LYING}, tools),
            server("sane", sane, "S1", {"state": "state", "part_count": "part_count"}),
        ]
    )


@pytest.fixture
def pair(tmp_path: Path) -> Iterator[tuple[Process, Service]]:
    """The servers and the service, both running."""
    lying, sane = free_port(), free_port()
    plant = tmp_path / "plant.toml"
    plant.write_text(plant_text(lying, sane), encoding="utf-8")
    script = Path(__file__).with_name("fuzzed.py")
    command = [sys.executable, str(script), str(lying), str(sane), str(SEED), str(tmp_path / "truth.jsonl")]
    servers = Process(command, tmp_path / "servers.log")
    service = Service(tmp_path / "service.log", plant)
    yield servers, service
    service.clear_away()
    servers.clear_away()


def test_the_service_lives_with_a_server_that_lies(pair: tuple[Process, Service], tmp_path: Path) -> None:
    servers, service = pair
    servers.find(READY)
    until("the sane machine in sight", lambda: service.api.get("/machines/S1/now")["linked"])
    servers.send(signal.SIGUSR1)
    until("everything counted", lambda: counted(service) == PARTS)
    told = until("all kinds of lies", lambda: liar(service) if set(liar(service)["ignored"]) >= EXPECTED else None)
    assert_sane_facts_are_true(service, tmp_path / "truth.jsonl")
    assert_time_stays_now(service)
    assert_shown(service, told)
    assert service.end() == 0
    assert "Traceback" not in service.text


def liar(service: Service) -> dict[str, Any]:
    (row,) = (row for row in service.api.rows("/servers") if row["server"] == "liar")
    return row if row["ignored"] is not None else {"ignored": {}}


def counted(service: Service) -> int:
    return sum(row["quantity"] for row in service.api.facts("S1", "counts"))


def assert_sane_facts_are_true(service: Service, truth: Path) -> None:
    """Conditions change at the very times at which the server stamped the states."""
    said = [json.loads(line) for line in truth.read_text("utf-8").splitlines()]
    words = {3: "producing", 2: "waiting"}
    flips = [(words[row["value"]], row["at_us"]) for row in said if row["name"] == "state"]
    conditions = [(row["condition"], row["start_us"]) for row in service.api.facts("S1", "conditions")]
    assert [flip for flip in conditions if flip[1] >= flips[0][1]] == flips
    (row,) = (row for row in service.api.rows("/servers") if row["server"] == "sane")
    assert (row["reconnects"], row["sequence_gaps"], row["ignored"]) == (0, 0, {})


def assert_time_stays_now(service: Service) -> None:
    """No time of 1601 or 2100 moves a machine's story."""
    now_us = time.time_ns() // 1000
    for kind in ("conditions", "alarms", "cycles", "counts", "energy"):
        for row in service.api.facts("F1", kind):
            for name in ("start_us", "end_us", "time_us"):
                assert name not in row or abs(row[name] - now_us) < 3_600_000_000, (kind, row)


def assert_shown(service: Service, told: dict[str, Any]) -> None:
    """What was ignored, in the API and on the page, escaped and short."""
    assert told["ignored_last"]
    assert all(len(last["value"]) <= 81 for last in told["ignored_last"].values())
    metrics = service.api.text("/metrics")
    assert 'swarfline_server_ignored_values_total{server="liar",kind="not_finite"}' in metrics
    assert 'swarfline_server_ignored_values_total{server="sane"' not in metrics
    for path in ("/connections", "/machines/F1", "/"):
        page = service.api.text(path)
        assert "<script>alert" not in page, path
        assert not re.search("[\x00\x1b\u202e\ud800-\udfff]", page), path
    assert set(told["refused"].values()) <= {"its value cannot be decoded"}


async def test_bytes_changed_on_the_way(free_port: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("swarfline.connect.supervise.LONGEST_DELAY_S", 0.5)
    monkeypatch.setattr("swarfline.connect.chores.RETRY_S", 0.5)
    async with Plc(free_port) as line, Flipper(free_port, SEED) as flipper:
        await line.machine("N1", State=3, Count=ua.Variant(0, ua.VariantType.UInt32))
        raw = plant_file(
            f"opc.tcp://127.0.0.1:{flipper.port}/line", {"N1": {"signals": STATE_AND_COUNT}}, timeout_s=1.0
        )
        async with Watching(raw) as watching:
            await watching.until(lambda: watching.supervisor.status.state == "connected")
            flipper.flipping = True
            count = 0
            while flipper.flipped < 25:
                count += 1
                await line.write("N1/Count", ua.Variant(count, ua.VariantType.UInt32))
                await asyncio.sleep(0.03)
            flipper.flipping = False
            await line.write("N1/Count", ua.Variant(count + 1, ua.VariantType.UInt32))
            await watching.until(lambda: watching.values("part_count")[-1:] == [count + 1])
            await watching.until(lambda: watching.supervisor.status.refused == {})
