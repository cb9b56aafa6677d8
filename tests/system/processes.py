"""The processes under test: each writes its output to a file, and each is ended by its own id only."""

from __future__ import annotations

import re
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from .api import Api
from .waiting import until

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
END_S = 60.0
READY = re.compile(r"^swarfline-sim ready (\S+)$", re.MULTILINE)
ADDRESS = re.compile(r"page and API: (http://\S+/)")
SWARFLINE = (sys.executable, "-c", "from swarfline.cli import main; main()")


def real_us() -> int:
    """Real time in microseconds UTC."""
    return time.time_ns() // 1000


def moment(us: int) -> str:
    """A time as RFC 3339."""
    return (EPOCH + timedelta(microseconds=us)).isoformat()


def free_port() -> int:
    """A TCP port of the loopback that nobody uses now."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


class Process:
    """A command with its output in ``output`` (standard output and error together)."""

    def __init__(self, command: Iterable[str], output: Path) -> None:
        self.output = output
        with output.open("wb") as stream:
            self._process = subprocess.Popen(
                list(command), stdin=subprocess.DEVNULL, stdout=stream, stderr=subprocess.STDOUT
            )

    @property
    def pid(self) -> int:
        """The process's id."""
        return self._process.pid

    @property
    def runs(self) -> bool:
        """Whether it has not ended yet."""
        return self._process.poll() is None

    @property
    def text(self) -> str:
        """What it has written so far."""
        return self.output.read_text("utf-8")

    def find(self, pattern: re.Pattern[str]) -> str:
        """The first group of ``pattern`` in its output, as soon as it is there."""

        def look() -> str:
            found = pattern.search(self.text)
            assert found or self.runs, f"ended by itself:\n{self.text}"
            return found[1] if found else ""

        return until(f"{pattern.pattern!r} in {self.output}", look)

    def send(self, number: int) -> None:
        """Send a signal."""
        self._process.send_signal(number)

    def wait(self) -> int:
        """Its exit code."""
        return self._process.wait(END_S)

    def end(self, number: int = signal.SIGTERM) -> int:
        """Send a signal and wait for the end; its exit code."""
        self.send(number)
        return self.wait()

    def kill(self) -> int:
        """kill -9; real time just before it, in µs UTC."""
        before_us = real_us()
        self.end(signal.SIGKILL)
        return before_us

    def clear_away(self) -> None:
        """For the end of a test: whatever happened, nothing is left running."""
        if self.runs:
            self._process.kill()
            self._process.wait(END_S)


@dataclass(frozen=True)
class Timeline:
    """Plant time runs from ``start_us`` on, ``speed`` times as fast as real time since ``epoch_us``."""

    start_us: int
    epoch_us: int
    speed: int

    def plant_us(self, real: int) -> int:
        """Plant time at a real time."""
        return self.start_us + max(0, (real - self.epoch_us) * self.speed)


class Simulator(Process):
    """``swarfline-sim serve`` of the brisk profile; ``program`` may be one that makes something of it."""

    def __init__(
        self,
        output: Path,
        port: int,
        timeline: Timeline,
        seed: int,
        machines: Iterable[str],
        truth: Path,
        program: Iterable[str] = ("-m", "swarfline_sim"),
        more: Iterable[str] = (),
    ) -> None:
        self.timeline = timeline
        command = [sys.executable, *program, "serve", "--profile", "brisk", "--port", str(port)]
        command += ["--start", moment(timeline.start_us), "--epoch", moment(timeline.epoch_us)]
        command += ["--speed", str(timeline.speed), "--seed", str(seed), "--machines", ",".join(machines)]
        super().__init__([*command, "--truth", str(truth), *more], output)

    def ready(self) -> None:
        """Wait until a client may come."""
        self.find(READY)


class Service(Process):
    """``swarfline run plant.toml``, with more words where they are given."""

    def __init__(self, output: Path, plant_file: Path, *more: str) -> None:
        super().__init__([*SWARFLINE, "run", str(plant_file), *more], output)
        self._api: Api | None = None

    @property
    def api(self) -> Api:
        """Its API, as soon as it can be asked."""
        if self._api is None:
            self._api = Api(self.find(ADDRESS))
        return self._api

    def connected(self) -> None:
        """Wait until every machine is in sight."""
        until("every machine in sight", lambda: all(now["linked"] for now in self.api.now()))

    def clear_away(self) -> None:
        """See Process."""
        super().clear_away()
        if self._api is not None:
            self._api.close()
