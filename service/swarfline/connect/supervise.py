"""The connection's state machine and its verdicts: events and times in, next action and delay out.

Pure: times are values (seconds of any steady clock, or µs UTC), chance is handed in as a number.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, NamedTuple

State = Literal["connecting", "connected", "waiting"]

FIRST_DELAY_S = 1.0
LONGEST_DELAY_S = 60.0
FULL_DELAY_S = 10.0
"""The longest delay where a server has no place for us: it frees that of a session which broke by and by."""
STEADY_S = 60.0
"""A session that lived this long starts the back-off anew."""
LATE_S = 1.0
"""When our own loop comes later than this, silence is our fault: no verdict this time."""
LONGEST_PROBE_PERIOD_S = 10.0
OFFSET_STEP_US = 250_000
"""A clock offset is told again when it moved by more than this."""
_CLOCK_TICK_US = 2_000_000
_SAMPLES_KEPT = 8


@dataclass(slots=True)
class Attempts:
    """connecting → connected → waiting → connecting …; counts and back-off."""

    state: State = "connecting"
    since_us: int = 0
    attempts: int = 0
    reconnects: int = 0
    last_error: str = ""
    next_attempt_us: int | None = None
    _failures: int = 0
    _connected_us: int | None = None
    _ever: bool = False

    def start(self, now_us: int) -> None:
        """An attempt begins."""
        self.state, self.since_us, self.next_attempt_us = "connecting", now_us, None
        self.attempts += 1
        self._connected_us = None

    def connected(self, now_us: int) -> None:
        """The session stands and its signals are known."""
        self.state, self.since_us, self._connected_us = "connected", now_us, now_us
        self.reconnects += self._ever
        self._ever = True
        self.last_error = ""

    def ended(self, now_us: int, reason: str, chance: float, longest_s: float = LONGEST_DELAY_S) -> float:
        """The attempt or the session is over; the seconds to wait. ``chance`` lies in 0–1 (jitter)."""
        if self._connected_us is not None and now_us - self._connected_us >= STEADY_S * 1e6:
            self._failures = 0
        delay_s = min(backoff_s(self._failures, chance), longest_s)
        self._failures += 1
        self.state, self.since_us, self.last_error = "waiting", now_us, reason
        self.next_attempt_us = now_us + int(delay_s * 1e6)
        return delay_s


def backoff_s(failures: int, chance: float) -> float:
    """Delay after so many failures before this one: doubling, capped, times 0.5–1 so that many do not march."""
    return float(min(LONGEST_DELAY_S, FIRST_DELAY_S * 2.0 ** min(failures, 16)) * (0.5 + chance / 2))


class Signs(NamedTuple):
    """What the watch sees at one moment; times in seconds of one steady clock."""

    now_s: float
    looked_s: float
    """When it looked last."""
    period_s: float
    """How often it means to look."""
    published_s: float
    deadline_s: float
    """Longest silence allowed; infinite where nothing is published by itself."""
    lost: str = ""
    """Reasons that need no clock: the socket closed, a task ended, the server said so."""


def verdict(signs: Signs) -> str | None:
    """Why the session is over, or None when it is not."""
    if signs.lost:
        return signs.lost
    if signs.now_s - signs.looked_s - signs.period_s > LATE_S:
        return None
    silence_s = signs.now_s - signs.published_s
    if silence_s > signs.deadline_s:
        return f"nothing heard for {silence_s:.1f} s (a keep-alive was due): network or server stands still"
    return None


def silence_allowed_s(keepalive_s: float) -> float:
    """Two keep-alives and a second."""
    return 2 * keepalive_s + 1.0


def probe_period_s(keepalive_s: float) -> float:
    """How often to ask the server's state, so that a half-open link shows soon."""
    return min(LONGEST_PROBE_PERIOD_S, 2 * keepalive_s)


class ClockOffset:
    """The server's clock minus ours, from request/response pairs, as NTP does (RFC 5905 section 8).

    Of the latest samples the one with the shortest way counts: its error is at most half its way.
    """

    def __init__(self) -> None:
        self._samples: list[tuple[int, int]] = []
        self.told_us: int | None = None
        """As last told by ``news``."""

    def add(self, sent_us: int, got_us: int, current_us: int | None, header_us: int | None) -> None:
        """One sample: our times around the request; the server's CurrentTime and its response's own time.

        Servers refresh CurrentTime in ticks (up to a second or two), so a later header time is the truer one
        unless the two have nothing to do with each other. None: missing.
        """
        server_us = current_us if current_us is not None else header_us
        if server_us is None or got_us < sent_us:
            return
        if header_us is not None and 0 < header_us - server_us <= _CLOCK_TICK_US:
            server_us = header_us
        self._samples.append((got_us - sent_us, server_us - (sent_us + got_us) // 2))
        del self._samples[:-_SAMPLES_KEPT]

    @property
    def offset_us(self) -> int | None:
        """The best estimate, or None without a sample."""
        if not self._samples:
            return None
        # a clock that was set makes old samples wrong: only those that agree with the newest count
        way, newest = self._samples[-1]
        near = [s for s in self._samples if abs(s[1] - newest) <= OFFSET_STEP_US + way // 2]
        return min(near)[1]

    def news(self, force: bool = False) -> int | None:
        """The offset if it is to be told now (it moved, or ``force``), else None."""
        offset = self.offset_us
        if offset is None:
            return None
        if not force and self.told_us is not None and abs(offset - self.told_us) <= OFFSET_STEP_US:
            return None
        self.told_us = offset
        return offset
