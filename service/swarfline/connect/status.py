"""What can be shown of a server: a frozen snapshot, and the counters it is taken from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from swarfline.connect.supervise import State
from swarfline.connect.unusable import MOST_EXAMPLES, UNMAPPED_CODE, Ignored

PACE_US = 10_000_000


@dataclass(frozen=True, slots=True)
class ServerStatus:
    """One server's connection at one moment. Times are µs UTC; None: not known (yet).

    ``refused`` gives the reason by ``machine/signal`` for nodes the server did not grant; ``unmapped`` the last
    code without meaning by ``machine/signal``, ``unmapped_counts`` how often. ``ignored`` says how often something
    could not be used, by kind (unusable.KINDS), ``ignored_last`` the last (kind, value) by ``machine/signal``;
    both of these and ``unmapped`` keep the newest signals only. ``revised_*`` are what the server
    granted at worst: the publishing interval, the slowest sampling and the shortest queue; ``remarks`` say where
    that is less than was asked. ``changes_per_s`` is the mean of the last ten seconds or so. ``readbacks`` counts
    losses of machines that were read back from the server's history.
    """

    server: str
    endpoint: str
    state: State
    since_us: int
    last_error: str
    attempts: int
    next_attempt_us: int | None
    reconnects: int
    changes: int
    overflows: int
    sequence_gaps: int
    republished: int
    signals: int
    refused: Mapping[str, str]
    unmapped: Mapping[str, str]
    unmapped_counts: Mapping[str, int]
    ignored: Mapping[str, int]
    ignored_last: Mapping[str, tuple[str, str]]
    clock_offset_us: int | None
    revised_publishing_ms: float | None
    revised_sampling_ms: float | None
    revised_queue_size: int | None
    remarks: tuple[str, ...]
    changes_per_s: float | None
    last_life_us: int | None
    last_publish_us: int | None
    readbacks: int
    last_readback_us: int | None


class Pace:
    """Changes per second, over spans of PACE_US. Pure: times are handed in, µs of any clock."""

    def __init__(self) -> None:
        self._since_us: int | None = None
        self._count = 0
        self._per_s: float | None = None

    def add(self, count: int, now_us: int) -> None:
        """So many came now."""
        self._roll(now_us)
        self._count += count

    def per_s(self, now_us: int) -> float | None:
        """Of the last whole span, None before there was one."""
        self._roll(now_us)
        return self._per_s

    def _roll(self, now_us: int) -> None:
        if self._since_us is None or now_us < self._since_us:
            # a clock that was set back spoils this span, not the ones to come
            self._since_us, self._count = now_us, 0
        elif (span_us := now_us - self._since_us) >= PACE_US:
            self._per_s = self._count * 1e6 / span_us
            self._since_us, self._count = now_us, 0


@dataclass(slots=True)
class Tally:
    """Counters of one server, kept over its sessions."""

    changes: int = 0
    overflows: int = 0
    sequence_gaps: int = 0
    republished: int = 0
    signals: int = 0
    refused: dict[str, str] = field(default_factory=dict)
    unmapped: dict[str, str] = field(default_factory=dict)
    unmapped_counts: dict[str, int] = field(default_factory=dict)
    ignored: Ignored = field(default_factory=Ignored)
    clock_offset_us: int | None = None
    revised_publishing_ms: float | None = None
    revised_sampling_ms: float | None = None
    revised_queue_size: int | None = None
    last_publish_us: int | None = None
    readbacks: int = 0
    last_readback_us: int | None = None
    watched: int = 0
    read: int = 0
    pace: Pace = field(default_factory=Pace)

    def renew(self) -> None:
        """A new session: what was granted before no longer holds."""
        self.refused.clear()
        self.signals = self.watched = self.read = 0
        self.revised_publishing_ms = self.revised_sampling_ms = self.revised_queue_size = None

    def note_unmapped(self, machine: str, signal: str, code: str) -> None:
        """Count a code without meaning."""
        self.ignored.note(machine, signal, UNMAPPED_CODE, code)
        key = f"{machine}/{signal}"
        count = self.unmapped_counts.pop(key, 0) + 1
        self.unmapped.pop(key, None)
        self.unmapped[key], self.unmapped_counts[key] = code, count
        if len(self.unmapped) > MOST_EXAMPLES:
            oldest = next(iter(self.unmapped))
            del self.unmapped[oldest], self.unmapped_counts[oldest]

    def note_read_back(self, machines: int, now_us: int) -> None:
        """So many machines go on from before their loss."""
        self.readbacks += machines
        self.last_readback_us = now_us if machines else self.last_readback_us

    def note_sampling(self, sampling_ms: float) -> None:
        """How often some item is looked at."""
        self.revised_sampling_ms = max(sampling_ms, self.revised_sampling_ms or 0.0)

    def note_granted(self, sampling_ms: float, queue_size: int) -> None:
        """What the server granted to one item."""
        self.note_sampling(sampling_ms)
        self.revised_queue_size = min(queue_size, self.revised_queue_size or queue_size)
