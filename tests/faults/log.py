"""What a service's log says of its connections, with the moment at which it was seen to say it."""

from __future__ import annotations

import re
import threading
import time
from dataclasses import dataclass

from system.processes import Process, real_us

LOOK_S = 0.02
_LOST = re.compile(r"server (\w+) \(\S+\): (connection lost|cannot connect): (.+); next attempt in (\d+\.\d) s")
_BACK = re.compile(r"server (\w+) \(\S+\): connected: ")


@dataclass(frozen=True)
class Word:
    """``kind``: connected, connection lost, cannot connect; ``delay_s`` until the next attempt."""

    at_us: int
    server: str
    kind: str
    reason: str = ""
    delay_s: float = 0.0


class Log:
    """Reads along until ``close``."""

    def __init__(self, process: Process) -> None:
        self._process = process
        self._words: list[Word] = []
        self._seen = 0
        self._done = threading.Event()
        self._thread = threading.Thread(target=self._read, daemon=True)
        self._thread.start()

    def close(self) -> None:
        """End it."""
        self._done.set()
        self._thread.join()

    def of(self, server: str, since_us: int = 0, kind: str = "") -> list[Word]:
        """Everything said of a server since a moment."""
        return [
            w for w in list(self._words) if w.server == server and w.at_us >= since_us and kind in ("", w.kind)
        ]

    def _read(self) -> None:
        while not self._done.is_set():
            text = self._process.text
            whole = text.rfind("\n") + 1
            for line in text[self._seen : whole].splitlines():
                self._note(line)
            self._seen = whole
            time.sleep(LOOK_S)

    def _note(self, line: str) -> None:
        if found := _LOST.search(line):
            self._words.append(Word(real_us(), found[1], found[2], found[3], float(found[4])))
        elif found := _BACK.search(line):
            self._words.append(Word(real_us(), found[1], "connected"))
