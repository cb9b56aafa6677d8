"""Fixtures of the tests with peers that others wrote."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable, Iterator

import pytest

from .node import OFFICIAL, Script, missing
from .nodeset import Nodesets

FILES = (
    "Opc.Ua.NodeSet2.xml", "Opc.Ua.Di.NodeSet2.xml", "Opc.Ua.Machinery.NodeSet2.xml", "Opc.Ua.IA.NodeSet2.xml",
    "opc.ua.isa95-jobcontrol.nodeset2.xml", "Opc.Ua.Machinery.Jobs.Nodeset2.xml",
    "Opc.Ua.MachineTool.NodeSet2.xml", "Opc.Ua.CNC.NodeSet.xml",
)  # fmt: skip
READY = "swarfline-sim ready "


@pytest.fixture(scope="session")
def peers() -> None:
    """Skips where node or node-opcua is missing; a run with CI=true must have both."""
    lack = missing()
    if lack and os.environ.get("CI") == "true":
        pytest.fail(lack)
    if lack:
        pytest.skip(lack)


@pytest.fixture(scope="session")
def official(peers: None) -> Nodesets:
    """The official models that a machine tool is made of."""
    return Nodesets(OFFICIAL / name for name in FILES)


@pytest.fixture(scope="session")
def simulated() -> Iterator[str]:
    """The address of a running simulator with one machine of each cell."""
    command = [sys.executable, "-m", "swarfline_sim", "serve", "--port", "0", "--machines", "N1,S1"]
    process = subprocess.Popen(
        [*command, "--with-stdin"], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    assert process.stdout is not None
    line = process.stdout.readline()
    assert line.startswith(READY), line
    yield line.removeprefix(READY).strip()
    process.terminate()
    process.communicate()


@pytest.fixture(scope="module")
def script(peers: None, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Callable[..., Script]]:
    """Starts scripts of node-opcua; they end with the tests of the file."""
    started: list[Script] = []
    folder = tmp_path_factory.mktemp("scripts")

    def start(name: str, *words: str) -> Script:
        started.append(Script(name, *words, errors=folder / f"{len(started)}.err"))
        return started[-1]

    yield start
    for each in started:
        each.clear_away()
