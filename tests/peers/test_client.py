"""Clients that others wrote at the simulator: node-opcua's, and the command-line tools that come with asyncua."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from .node import Script

pytestmark = pytest.mark.system

WATCHED_MS = 1500
BUILT_IN = (
    "Null", "Boolean", "SByte", "Byte", "Int16", "UInt16", "Int32", "UInt32", "Int64", "UInt64", "Float", "Double",
    "String", "DateTime", "Guid", "ByteString", "XmlElement", "NodeId", "ExpandedNodeId", "StatusCode",
    "QualifiedName", "LocalizedText", "ExtensionObject",
)  # fmt: skip
"""Built-in types by their numbers (OPC 10000-6, table of built-in types)."""
OTHERS = {290: "Double", 884: "ExtensionObject", 887: "ExtensionObject"}
"""Duration, Range and EUInformation (OPC 10000-5), as they travel."""
STATE = "N1/mt.Monitoring/mt.MachineTool/mch.MachineryItemState/ua.CurrentState/ua.Number"


@pytest.fixture(scope="module")
def seen(simulated: str, script: Callable[..., Script], tmp_path_factory: pytest.TempPathFactory) -> Any:
    """What node-opcua's client sees of the machine N1."""
    words = (simulated, "urn:swarfline:simulator", "N1", str(tmp_path_factory.mktemp("pki")), str(WATCHED_MS))
    return script("client.mjs", *words).answer()


def travels_as(data_type: str) -> str:
    """The built-in type of values of a declared data type: enumerations of the specifications are Int32."""
    space, number = re.fullmatch(r"ns=(\d+);i=(\d+)", data_type).groups()  # type: ignore[union-attr]
    if space != "0":
        return "Int32"
    return OTHERS.get(int(number)) or BUILT_IN[int(number)]


def test_every_value_is_good_and_of_the_declared_type(seen: Any) -> None:
    variables = seen["variables"]
    assert len(variables) > 100
    wrong = [
        (path, node)
        for path, node in variables.items()
        if node["status"] != "Good"
        or node["type"] != travels_as(node["dataType"])
        or node["array"] != (node["rank"] == 1)
    ]
    assert wrong == []


def test_every_variable_can_be_subscribed_to(seen: Any) -> None:
    assert set(seen["changes"]) == set(seen["variables"])
    assert {status for told in seen["changes"].values() for status in told} == {"Good"}


def command(tool: str, *words: str) -> list[str]:
    return [str(Path(sys.executable).with_name(tool)), *words]


def run(tool: str, *words: str) -> str:
    """What a tool of asyncua prints."""
    done = subprocess.run(command(tool, *words), capture_output=True, text=True, timeout=60)
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_the_command_line_tools_list_and_read(simulated: str, seen: Any) -> None:
    state = seen["variables"]["N1/Monitoring/MachineTool/MachineryItemState/CurrentState/Number"]["nodeId"]
    listed = run("uals", "-u", simulated, "-n", state.replace(STATE, "N1"))
    assert "Monitoring" in listed
    assert "Production" in listed
    assert run("uaread", "-u", simulated, "-n", state).strip() in {"0", "1", "2", "3"}


def test_the_command_line_tool_subscribes(simulated: str, seen: Any) -> None:
    state = seen["variables"]["N1/Monitoring/MachineTool/MachineryItemState/CurrentState/Number"]["nodeId"]
    process = subprocess.Popen(
        command("uasubscribe", "-u", simulated, "-n", state, "-t", "datachange"),
        stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True,
        env={**os.environ, "PYTHONUNBUFFERED": "1"},
    )  # fmt: skip
    deadline = threading.Timer(60, process.kill)
    deadline.start()
    try:
        assert process.stdout is not None
        told = next((line for line in process.stdout if line.startswith("DataChangeEvent")), "")
        assert re.search(r"Value=[0-3], VariantType=<VariantType.UInt32", told)
    finally:
        deadline.cancel()
        process.kill()
        process.communicate()
