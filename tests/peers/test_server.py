"""The service against node-opcua's server with a machine that it builds from the official nodesets.

What is true is what the test told the server to show; nothing on the way is ours but the service itself.
"""

from __future__ import annotations

import json
import signal
import subprocess
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from system.api import Row
from system.processes import SWARFLINE, Service
from system.processes import free_port as new_port
from system.waiting import until

from .node import Script

pytestmark = pytest.mark.system

TOOL_MACHINE = "Monitoring/MachineTool"
STATE = f"{TOOL_MACHINE}/MachineryItemState/CurrentState/Number"
COUNT = f"{TOOL_MACHINE}/OperationCounters/PartsProducedInLifetime"
PROGRAM, PROGRAM_STATE = "Production/ActiveProgram/Name", "Production/ActiveProgram/State/CurrentState/Number"
OVERRIDE = f"{TOOL_MACHINE}/FeedOverride"
EXECUTING, NOT_EXECUTING = 3, 2
RUNNING, ENDED = 1, 2
FROZEN_S = 8
SOON_S = 60.0
"""Far above what a value takes: it ends a test that would hang."""
SHOWN = {
    STATE: ["UInt32", EXECUTING], PROGRAM: ["String", "O77"], PROGRAM_STATE: ["UInt32", RUNNING],
    f"{TOOL_MACHINE}/OperationMode": ["Int32", 1],
    OVERRIDE: ["Double", 80.0],
}  # fmt: skip
LIFE = "ToolLife/Life"
TOOLS = {"T1": (7, 3, 12.0, 50.0), "T2": (8, 5, 30.0, 40.0)}
"""Number, pot, used and limit by browse name."""
MOST_READ = 5
TIGHT = {
    "maxSessions": 2,
    "operationLimits": {
        "maxNodesPerRead": MOST_READ, "maxNodesPerBrowse": 3, "maxMonitoredItemsPerCall": 4,
        "maxNodesPerTranslateBrowsePathsToNodeIds": 2,
    },
}  # fmt: skip
PLANT = """\
plant = {{ name = "Peer works", time_zone = "UTC" }}
store = {{ url = "sqlite:///peer.db" }}
listen = {{ port = 0 }}
namespaces = {{ peer = "urn:peer:machine" }}

[[servers]]
id = "line"
endpoint = "opc.tcp://127.0.0.1:{port}/peer"
publishing_ms = 100
sampling_ms = 0
queue_size = 5
keepalive_s = 0.5
timeout_s = 1.0

[[servers.machines]]
id = "P1"
root = "mch:Machines/peer:Peer"
tools = {{ objects = "mt:Equipment/mt:Tools" }}

[servers.machines.signals]
state = "mt:Monitoring/mt:MachineTool/mch:MachineryItemState/ua:CurrentState/ua:Number"
mode = "mt:Monitoring/mt:MachineTool/mt:OperationMode"
feed_override = "mt:Monitoring/mt:MachineTool/mt:FeedOverride"
program = "mt:Production/mt:ActiveProgram/mt:Name"
program_state = "mt:Production/mt:ActiveProgram/mt:State/ua:CurrentState/ua:Number"

[servers.machines.signals.part_count]
node = "mt:Monitoring/mt:MachineTool/di:OperationCounters/mt:PartsProducedInLifetime"
width = 64
"""


class Peer:
    """node-opcua's server, first or again, and what is to be read from it."""

    def __init__(self, folder: Path, script: Callable[..., Script]) -> None:
        self._script = script
        self.folder, self.port = folder, new_port()
        self.plant_file = folder / "plant.toml"
        self.plant_file.write_text(PLANT.format(port=self.port), "utf-8")
        self.server: Script
        self.count = 41

    def start(self) -> None:
        """The server shows SHOWN and TOOLS before it is asked for anything."""
        self.server = self._script("server.mjs", str(self.port), str(self.folder / "pki"), json.dumps(TIGHT))
        assert "ready" in self.server.answer()
        self.show({**SHOWN, COUNT: ["UInt64", self.count]})
        for name, (number, pot, used, limit) in TOOLS.items():
            values = {
                "ControlIdentifier1": ["UInt32", number], "Name": ["String", f"Drill {name}"],
                "Location/PlaceNumber": ["UInt16", pot], LIFE: ["Double", used],
                f"{LIFE}/Indication": ["Int32", 2], f"{LIFE}/IsCountingUp": ["Boolean", True],
                f"{LIFE}/LimitValue": ["Double", limit], "Locked": ["Boolean", False],
            }  # fmt: skip
            self.server.ask({"add_tool": [name, values]})

    def show(self, values: dict[str, Any]) -> None:
        """Values from now on."""
        self.server.ask({"set": values})

    def made(self, parts: int, values: dict[str, Any] | None = None) -> None:
        """The counter goes up; more values at the same moment."""
        self.count += parts
        self.show({COUNT: ["UInt64", self.count], **(values or {})})


@pytest.fixture(scope="module")
def peer(tmp_path_factory: pytest.TempPathFactory, script: Callable[..., Script]) -> Peer:
    """A server that runs."""
    made = Peer(tmp_path_factory.mktemp("peer"), script)
    made.start()
    return made


@pytest.fixture(scope="module")
def running(peer: Peer) -> Iterator[Service]:
    """The service that watches it."""
    made = Service(peer.folder / "service.log", peer.plant_file)
    try:
        made.connected()
        yield made
    finally:
        made.clear_away()


@pytest.fixture
def service(peer: Peer, running: Service) -> Service:
    """The service with the machine in sight, at work and known."""
    peer.show({OVERRIDE: ["Double", 80.0], STATE: ["UInt32", EXECUTING]})
    until("the machine at work", lambda: value(running, "feed_override") == 80, SOON_S)
    return running


def now(service: Service) -> Row:
    return service.api.now()[0]


def value(service: Service, name: str) -> Any:
    return next((v["value"] for v in now(service).get("values") or [] if v["signal"] == name), None)


def parts(service: Service) -> int:
    """All parts counted so far."""
    return sum(row["quantity"] for row in service.api.facts("P1", "counts") if row["count_kind"] == "total")


def gaps(service: Service) -> list[Row]:
    return service.api.facts("P1", "gaps")


def test_check_online_reads_the_truth_through_tight_limits(peer: Peer, service: Service) -> None:
    command = [*SWARFLINE, "check", str(peer.plant_file), "--online", "--json"]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60)
    (server,) = json.loads(done.stdout)["servers"]
    assert server["limits"]["read"] == MOST_READ
    shown = {row["signal"]: (row["value"], row["quality"]) for row in server["signals"]}
    for name, wanted in {
        "state": "executing", "mode": "automatic", "program": "O77", "program_state": "running",
        "part_count": peer.count, "feed_override": 80.0,
    }.items():  # fmt: skip
        assert shown[name] == (wanted, "good")
    assert [finding for finding in server["findings"] if finding["weight"] == "error"] == []
    assert done.returncode == 0, done.stderr


def test_condition_program_counts_and_tools_are_the_servers(peer: Peer, service: Service) -> None:
    assert now(service)["condition"] == "producing"
    assert value(service, "program") == "O77"
    tools = until("tools", lambda: len(found := service.api.rows("/machines/P1/tools")) == 2 and found, SOON_S)
    seen = {(t["tool"], t["pot"], t["name"], t["used"], t["limit"]) for t in tools}
    assert seen == {
        (str(number), str(pot), f"Drill {name}", used, limit) for name, (number, pot, used, limit) in TOOLS.items()
    }
    before = parts(service)
    for _ in range(3):
        peer.made(1, {PROGRAM_STATE: ["UInt32", ENDED]})
        peer.show({PROGRAM_STATE: ["UInt32", RUNNING]})
    peer.show({STATE: ["UInt32", NOT_EXECUTING]})
    until("the machine to stand", lambda: now(service)["condition"] not in (None, "producing"), SOON_S)
    until("three parts", lambda: parts(service) == before + 3, SOON_S)
    assert service.api.server()["sequence_gaps"] == 0


def test_what_the_servers_queue_dropped_is_a_gap_and_the_count_is_whole(peer: Peer, service: Service) -> None:
    before, counted = len(gaps(service)), parts(service)
    peer.server.ask({"burst": [COUNT, "UInt64", peer.count + 1, 30]})
    peer.count += 30
    until("the overflow to be noted", lambda: service.api.server()["overflows"], SOON_S)
    until("a gap", lambda: len(gaps(service)) > before, SOON_S)
    until("the whole count", lambda: parts(service) == counted + 30, SOON_S)


def test_a_server_that_freezes_is_given_up_and_taken_back(peer: Peer, service: Service) -> None:
    counted = parts(service)
    peer.server.send(signal.SIGSTOP)
    try:
        frozen = time.monotonic()
        until("the loss to be seen", lambda: not now(service)["linked"], FROZEN_S)
        time.sleep(max(0.0, FROZEN_S - (time.monotonic() - frozen)))
    finally:
        peer.server.send(signal.SIGCONT)
    peer.made(3, {OVERRIDE: ["Double", 90.0]})
    until("the machine to be back", lambda: value(service, "feed_override") == 90, SOON_S)
    until("what was made meanwhile", lambda: parts(service) == counted + 3, SOON_S)
    assert any(gap["duration_s"] > FROZEN_S / 2 for gap in gaps(service))


def test_a_restarted_server_is_taken_back(peer: Peer, service: Service) -> None:
    before, counted = len(gaps(service)), parts(service)
    peer.server.clear_away()
    until("the loss to be seen", lambda: not now(service)["linked"], SOON_S)
    peer.start()
    peer.made(2, {OVERRIDE: ["Double", 90.0]})
    until("the machine to be back", lambda: value(service, "feed_override") == 90, SOON_S)
    until("what was made since", lambda: parts(service) == counted + 2, SOON_S)
    assert len(gaps(service)) > before
