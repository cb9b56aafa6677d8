"""Fixtures that tests of several rooms use."""

from __future__ import annotations

import socket
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import settings

# no example may fail for the time that a busy machine takes; all else stays as it is, where CI is true as for CI
settings.register_profile("unhurried", settings(), deadline=None)
settings.load_profile("unhurried")

SMALL_PLANT = """\
plant = { name = "Irrigation works", time_zone = "Europe/Madrid" }

[[servers]]
id = "line"
endpoint = "opc.tcp://127.0.0.1:4840"
machines = [{ id = "N1", signals = { state = "mch:State", part_count = "mch:Count" } }]
"""


@pytest.fixture
def free_port() -> int:
    """A TCP port of the loopback that nobody uses now."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@pytest.fixture
def small_plant() -> str:
    """The text of the smallest plant file that is accepted."""
    return SMALL_PLANT


@pytest.fixture
def write_plant(tmp_path: Path) -> Callable[[str], Path]:
    """Writes a plant file, by default the smallest that is accepted; its path."""

    def write(text: str = SMALL_PLANT) -> Path:
        path = tmp_path / "plant.toml"
        path.write_text(text, encoding="utf-8")
        return path

    return write
