"""The faults: what is done to a line, for how long, and what has to come of it."""

from __future__ import annotations

import signal
from collections.abc import Callable
from dataclasses import dataclass

from .works import APPROVED, OTHER, Line, Network, pair

SOON_S = 1.0
"""Of a closed socket."""
HALF_OPEN_S = 10.0
"""Of a link or a server that stands still: the limit that was promised."""

Act = Callable[[Network, Line], None]


@dataclass(frozen=True)
class Trial:
    """One fault. ``within_s``: the loss has to be found after so long; None: there is nothing to be lost.

    ``is_dark``: from its beginning on nothing comes through; otherwise only from the moment when it is found.
    ``words``: what the log has to say of it.
    """

    name: str
    title: str
    begin: Act
    heal: Act
    lasts_s: float
    within_s: float | None
    is_dark: bool = True
    words: str = ""


def _set(name: str, value: object) -> Act:
    return lambda network, line: network.do(lambda: setattr(line.proxy, name, value))


def _send(number: int) -> Act:
    return lambda network, line: line.plc.process.send(number)


def _cut(network: Network, line: Line) -> None:
    def work() -> None:
        line.proxy.refuse = True
        line.proxy.cut()

    network.do(work)


def _kill(network: Network, line: Line) -> None:
    line.plc.process.kill()


def _start(trouble: str) -> Act:
    return lambda network, line: line.plc.start(trouble)


def _refuse_sessions(network: Network, line: Line) -> None:
    line.plc.process.send(signal.SIGUSR1)
    network.do(line.proxy.cut)


def _show(which: str) -> Act:
    def act(network: Network, line: Line) -> None:
        line.plc.process.kill()
        line.plc.start(f"secured:{pair(line.plc.folder, which)}")

    return act


TRIALS = (
    Trial("cut", "connection cut, refused for 5 s", _cut, _set("refuse", False), 5, SOON_S),
    Trial(
        "hole", "black hole, 15 s", _set("swallow", True), _set("swallow", False), 15, HALF_OPEN_S,
    ),
    Trial(
        "half_hole", "black hole from the server only, 15 s",
        _set("swallow_answers", True), _set("swallow_answers", False), 15, HALF_OPEN_S,
    ),
    Trial("drip", "slow drip, 100 bytes/s, 20 s", _set("drip", 100), _set("drip", None), 20, HALF_OPEN_S, False),
    Trial("lag", "everything 1 s late each way, 15 s", _set("lag_s", 1.0), _set("lag_s", 0.0), 15, None),
    Trial(
        "frozen", "server frozen (SIGSTOP), 30 s", _send(signal.SIGSTOP), _send(signal.SIGCONT), 30, HALF_OPEN_S
    ),
    Trial("killed", "server killed (kill -9), back after 5 s", _kill, _start("none"), 5, SOON_S),
    Trial("renamed", "restart with other namespace order and NodeIds", _kill, _start("namespaces"), 1, SOON_S),
    Trial(
        "sessions", "cut, and no new session for 15 s",
        _refuse_sessions, _send(signal.SIGUSR1), 15, SOON_S, words="BadTooManySessions",
    ),
    Trial("half", "restart with half of its nodes, all of them later", _kill, _start("half"), 1, SOON_S),
    Trial(
        "certificate", "restart with another certificate, 15 s",
        _show(OTHER), _show(APPROVED), 15, SOON_S, words="the server shows another certificate",
    ),
)  # fmt: skip
BESIDE = "beside"
"""The line to which nothing happens."""
