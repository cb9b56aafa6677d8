"""node-opcua's processes: what is needed to run them, and one that takes commands as lines of JSON."""

from __future__ import annotations

import json
import os
import select
import shutil
import signal
import subprocess
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
OFFICIAL = HERE / "node_modules" / "node-opcua-nodesets" / "nodesets"
ANSWER_S = 60.0
"""Far above what an answer takes: it ends a test that would hang."""


def missing() -> str:
    """What is not there for these tests; empty when all is."""
    if shutil.which("node") is None:
        return "node is not installed"
    if not (HERE / "node_modules" / "node-opcua").is_dir():
        return "node-opcua is not installed: npm ci --prefix tests/peers --ignore-scripts"
    return ""


class Script:
    """A script of this folder with its arguments; ``errors`` takes what it writes to standard error."""

    def __init__(self, name: str, *words: str, errors: Path) -> None:
        with errors.open("ab") as stream:
            self._process = subprocess.Popen(
                ["node", str(HERE / name), *words],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=stream,
                # certificates that node-opcua would keep for itself stay out of the home folder
                env={**os.environ, "HOME": str(errors.parent), "XDG_CONFIG_HOME": str(errors.parent)},
            )
        self._errors = errors
        self._rest = b""

    def answer(self) -> Any:
        """Its next line that is JSON; it also prints lines of its own."""
        while True:
            line = self._line()
            if line.startswith(b"{"):
                return json.loads(line)

    def ask(self, command: dict[str, Any]) -> Any:
        """Send a command; its answer."""
        assert self._process.stdin is not None
        self._process.stdin.write(json.dumps(command).encode() + b"\n")
        self._process.stdin.flush()
        found = self.answer()
        assert "error" not in found, found
        return found

    def send(self, number: int) -> None:
        """Send a signal."""
        self._process.send_signal(number)

    def clear_away(self) -> None:
        """Nothing is left running; what it had stopped is let go first."""
        if self._process.poll() is None:
            self._process.send_signal(signal.SIGCONT)
            self._process.kill()
        self._process.communicate()

    def _line(self) -> bytes:
        assert self._process.stdout is not None
        number = self._process.stdout.fileno()
        while b"\n" not in self._rest:
            ready, _, _ = select.select([number], [], [], ANSWER_S)
            more = os.read(number, 65536) if ready else b""
            assert more, f"no answer from the script; it said: {self._errors.read_text('utf-8')[-2000:]}"
            self._rest += more
        line, _, self._rest = self._rest.partition(b"\n")
        return line
