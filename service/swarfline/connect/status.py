"""What can be shown of a server: a frozen snapshot, and the counters it is taken from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from swarfline.connect.supervise import State
from swarfline.connect.unusable import MOST_EXAMPLES, UNMAPPED_CODE, Ignored


@dataclass(frozen=True, slots=True)
class ServerStatus:
    """One server's connection at one moment. Times are µs UTC; None: not known (yet).

    ``refused`` gives the reason by ``machine/signal`` for nodes the server did not grant; ``unmapped`` the last
    code without meaning by ``machine/signal``, ``unmapped_counts`` how often. ``ignored`` says how often something
    could not be used, by kind (unusable.KINDS), ``ignored_last`` the last (kind, value) by ``machine/signal``;
    both of these and ``unmapped`` keep the newest signals only. ``revised_*`` are what the server
    granted at worst: the publishing interval, the slowest sampling and the shortest queue. ``readbacks`` counts
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
    last_life_us: int | None
    last_publish_us: int | None
    readbacks: int
    last_readback_us: int | None


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

    def renew(self) -> None:
        """A new session: what was granted before no longer holds."""
        self.refused.clear()
        self.signals = 0
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

    def note_granted(self, sampling_ms: float, queue_size: int) -> None:
        """What the server granted to one item."""
        self.revised_sampling_ms = max(sampling_ms, self.revised_sampling_ms or 0.0)
        self.revised_queue_size = min(queue_size, self.revised_queue_size or queue_size)
