"""A control with many oddities at once: checked, watched, and its facts right."""

from __future__ import annotations

import hashlib
import json
import re
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from system.processes import SWARFLINE, Process, Service, free_port
from system.waiting import until
from unit.connect.secured import certificate, write_pair

from .vendor_like import AHEAD, CUTTING, FAULTY, LIVES, MOST, PARTS, RESTING, TOOL, URI

pytestmark = pytest.mark.system

READY = re.compile(r"^(ready)$", re.MULTILINE)
NEAR_US = 3_000_000
"""How far a corrected time may be off on a loaded machine; the clock itself is off by 90 s."""


def plant_text(port: int) -> str:
    """The plant file that an integrator would write."""

    def node(name: str) -> str:
        return f'"nsu={URI};s={name}"'

    def element(name: str) -> str:
        return f"{{ node = {node(name)}, index = {TOOL} }}"

    word, states = node("Ch1.Stat.Word"), (RESTING, CUTTING, FAULTY)
    codes = ", ".join(f'"{c}" = "{"executing" if c == CUTTING else "not_executing"}"' for c in states)
    alarms = ", ".join(f'"{c}" = {str(c == FAULTY).lower()}' for c in states)
    return f"""
plant = {{ name = "Test works", time_zone = "Europe/Madrid" }}
listen = {{ host = "127.0.0.1", port = {free_port()} }}

[[servers]]
id = "ctrl"
endpoint = "opc.tcp://127.0.0.1:{port}/ctrl"
publishing_ms = 100
sampling_ms = 20
[servers.security]
policy = "Basic256Sha256"

[[servers.machines]]
id = "V1"
[servers.machines.signals]
state = {{ node = {word}, values = {{ {codes} }} }}
alarm = {{ node = {word}, values = {{ {alarms} }} }}
part_count = {{ node = {node("Ch1.Cnt.Parts")}, width = 16 }}
program = {node("Ch1.Prog.Name")}
spindle_load = {{ node = {node("Ch1.Spindle.Load")}, unit = "%" }}
spindle_speed = {{ node = {node("Ch1.Spindle.Rpm")}, unit = "1/min" }}
feed_rate = {{ node = {node("Ch1.Axis.Feed")}, unit = "mm/min" }}
power = {{ node = {node("Ch1.Pwr.Active")}, unit = "kW" }}
[servers.machines.tools.each.{TOOL + 1}]
number = {element("Mag.Tool.Number")}
remaining = {element("Mag.Tool.LifeLeft")}
limit = {element("Mag.Tool.LifeMax")}
"""


@pytest.fixture
def vendor(tmp_path: Path) -> Iterator[Process]:
    """The server, ready, with a plant file beside it."""
    port = free_port()
    (tmp_path / "plant.toml").write_text(plant_text(port), encoding="utf-8")
    script = Path(__file__).with_name("vendor_like.py")
    files = write_pair(tmp_path, "server", certificate(uri=URI))
    words = [sys.executable, str(script), str(port), str(tmp_path / "truth.jsonl"), *map(str, files)]
    made = Process(words, tmp_path / "vendor.log")
    made.find(READY)
    yield made
    made.clear_away()


def command(*words: str) -> subprocess.CompletedProcess[str]:
    """A command of Swarfline, run to its end."""
    return subprocess.run([*SWARFLINE, *words], capture_output=True, text=True, timeout=60, check=False)


def trust(tmp_path: Path) -> subprocess.CompletedProcess[str]:
    """Approve the server by the fingerprint that its papers tell."""
    fingerprint = hashlib.sha256((tmp_path / "server.der").read_bytes()).hexdigest()
    return command("trust", str(tmp_path / "plant.toml"), "ctrl", "--fingerprint", fingerprint)


@pytest.fixture
def service(vendor: Process, tmp_path: Path) -> Iterator[Service]:
    """The service that looks at it, once it is approved."""
    assert trust(tmp_path).returncode == 0
    made = Service(tmp_path / "service.log", tmp_path / "plant.toml")
    yield made
    made.clear_away()


def test_check_says_what_is_odd(vendor: Process, tmp_path: Path) -> None:
    check = ("check", str(tmp_path / "plant.toml"), "--online", "--json")
    (before,) = json.loads(command(*check).stdout)["servers"]
    assert not before["is_reached"]
    assert "swarfline trust" in json.dumps(before["findings"])
    assert "approved" in trust(tmp_path).stdout
    done = command(*check)
    (server,) = json.loads(done.stdout)["servers"]
    shown = {signal["signal"]: signal["value"] for signal in server["signals"]}
    assert shown["state"] == "not_executing"
    assert shown["part_count"] == 65_530
    assert (shown[f"tools[{TOOL + 1}].remaining"], shown[f"tools[{TOOL + 1}].limit"]) == (LIVES[TOOL], MOST[TOOL])
    assert abs(server["clock_offset_us"] / 1e6 - AHEAD.total_seconds()) < 3
    assert server["limits"]["read"] == 10
    errors = [(f["signal"], f["found"]) for f in server["findings"] if f["weight"] == "error"]
    assert errors == [("power", "status BadSensorFailure")]
    assert done.returncode == 1


def test_its_facts_are_right(vendor: Process, service: Service, tmp_path: Path) -> None:
    until("the machine in sight", lambda: service.api.get("/machines/V1/now")["linked"])
    vendor.send(signal.SIGUSR1)
    until("all parts", lambda: sum(c["quantity"] for c in service.api.facts("V1", "counts")) >= PARTS)
    until("at rest", lambda: service.api.get("/machines/V1/now")["condition"] == "waiting")
    said = [json.loads(line) for line in (tmp_path / "truth.jsonl").read_text("utf-8").splitlines()]
    assert_counts(service, said)
    assert_conditions(service, said)
    tool = until("the last tool life", lambda: tool_with(service, LIVES[TOOL] - PARTS * 0.5))
    assert (tool["tool"], tool["limit"]) == ("13", MOST[TOOL])
    server = service.api.server()
    assert abs(server["clock_offset_s"] - AHEAD.total_seconds()) < 3
    assert (server["reconnects"], server["refused"], server["ignored"]) == (0, {}, {})
    assert service.end() == 0


def assert_counts(service: Service, said: list[dict[str, Any]]) -> None:
    """One for each part across the roll-over, at the time of its receipt since it has no other."""
    counts = service.api.facts("V1", "counts")
    true_us = [row["at_us"] for row in said if row["name"] == "Ch1.Cnt.Parts"]
    assert [c["quantity"] for c in counts] == [1] * PARTS
    assert all(abs(c["time_us"] - us) < NEAR_US for c, us in zip(counts, true_us, strict=True))


def assert_conditions(service: Service, said: list[dict[str, Any]]) -> None:
    """By the table of codes, at the server's times without its 90 s."""
    words = {RESTING: "waiting", CUTTING: "producing", FAULTY: "fault"}
    true = [(words[row["value"]], row["at_us"]) for row in said if row["name"] == "Ch1.Stat.Word"]
    told = [(c["condition"], c["start_us"]) for c in service.api.facts("V1", "conditions")][-len(true) :]
    assert [word for word, _ in told] == [word for word, _ in true]
    assert all(abs(a[1] - b[1]) < NEAR_US for a, b in zip(told, true, strict=True))


def tool_with(service: Service, remaining: float) -> dict[str, Any] | None:
    """The tool of the array's element, when it shows this life."""
    (tool,) = service.api.rows("/machines/V1/tools")
    return tool if tool.get("remaining") == remaining else None
