"""What is said about the connection itself, and the order in which a sink gets everything.

Per machine: lost, clock offset, back, the full set of values, live values. While a machine is not back its
values are held here. Where the server's history told what happened since the loss: lost, restored, what was read
back, caught up, live values.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from operator import itemgetter
from types import MappingProxyType

from swarfline.connect.past import Before, Past
from swarfline.signals import (
    CLOCK_OFFSET,
    LINK,
    LINK_ALIVE,
    LINK_BACK,
    LINK_CAUGHT_UP,
    LINK_LOST,
    LINK_RESTORED,
    Quality,
    Reading,
)

Sink = Callable[[list[Reading]], bool]
"""Takes a batch; False when its queue is full: then nothing of the batch was taken."""

SWAPPED_US = 1_000_000
ALIVE_US = 1_400_000
"""A heartbeat is due after this long: with a look each half second it comes at least every 2 s."""
SEAM_US = 60_000_000
"""For so long after a history was read, live values may come that it held already."""
SEAM_READINGS = 2000
"""So many of the last readings of a machine's history may come once more."""
NOTHING_BEFORE: Mapping[str, Before] = MappingProxyType({})
NO_PAST: Mapping[str, Past] = MappingProxyType({})
_by_source = itemgetter(2)


class Links:
    """The link of each machine of one server, over all its sessions.

    ``server_clock``: link times are taken from the source times seen, not from our clock. ``before`` by machine:
    how it stood at a loss that was told already, before these sessions or in them.
    """

    def __init__(
        self,
        machines: Iterable[str],
        sink: Sink,
        server_clock: bool,
        before: Mapping[str, Before] = NOTHING_BEFORE,
    ) -> None:
        self.machines = tuple(machines)
        self.before = {machine: before[machine] for machine in self.machines if machine in before}
        self._signals: dict[str, frozenset[str]] = {}
        self.tries = 0
        """How often history was asked for since the machines were lost."""
        self._seam: set[tuple[str, str, int]] = set()
        self._seam_end_us = 0
        self._sink = sink
        self._server_clock = server_clock
        self._back: set[str] = set()
        self._held: dict[str, list[Reading]] = {}
        self._lost_us = {machine: before[machine].lost_us if machine in before else 0 for machine in self.machines}
        self._owed: list[Reading] = []
        self._life_us = 0
        self._arrived_us = 0
        self._interval_us = 0
        self._source_us = 0
        self._accepted_us = 0
        self._told_seen_us = 0
        self._told_at_us = 0
        self.offset_us = 0
        """The server's clock minus ours, as last measured."""
        self.full = False

    def begin(self) -> None:
        """A session starts: nothing is in hand, values are held until ``open``."""
        self._held = {machine: [] for machine in self.machines}
        self._source_us = 0
        self.full = False

    def paced(self, interval_s: float) -> None:
        """In this session a change may wait so long at the server before it is sent."""
        self._interval_us = round(interval_s * 1e6)

    @property
    def is_held(self) -> bool:
        """Whether values of some machine are being held."""
        return bool(self._held)

    def fallback_us(self, received_us: int) -> int:
        """Source time for a value that carries none: what the server's clock shows, since it is corrected like
        any other.
        """
        return (self._source_us or received_us) if self._server_clock else received_us + self.offset_us

    def heard(self, now_us: int) -> None:
        """The server proved that it lives."""
        # two proofs may come in either order, but a clock that was set back must not silence us
        if not 0 <= self._life_us - now_us < SWAPPED_US:
            self._life_us = now_us

    def _arrived(self, now_us: int) -> None:
        self.heard(now_us)
        self._arrived_us = now_us

    @property
    def _complete_us(self) -> int:
        """Up to when all that the server saw is in hand, by our clock.

        A message brings everything up to itself. That the server lives says less: what it saw since may still
        wait there to be sent.
        """
        due_us = self._life_us - self._interval_us
        return self._arrived_us if due_us < self._arrived_us <= self._life_us else due_us

    def values(self, readings: list[Reading], now_us: int) -> None:
        """Readings arrived, sorted by source time: hand them over, or hold those of machines not back."""
        self._arrived(now_us)
        if not readings:
            return
        self._source_us = max(self._source_us, readings[-1].source_us)
        if self._seam:
            readings = self._past_the_seam(readings, now_us)
        if self._held:
            readings = self._hold(readings)
        if readings:
            self._give(readings)

    def _past_the_seam(self, readings: list[Reading], now_us: int) -> list[Reading]:
        """Without what the history told already."""
        if not 0 <= self._seam_end_us - now_us <= SEAM_US:
            self._seam.clear()
            return readings
        return [r for r in readings if r[:3] not in self._seam]

    def _hold(self, readings: Sequence[Reading]) -> list[Reading]:
        passed: list[Reading] = []
        for reading in readings:
            held = self._held.get(reading.machine)
            (passed if held is None else held).append(reading)
        return passed

    def open(
        self,
        machines: Sequence[str],
        read: Sequence[Reading],
        refused: Sequence[tuple[str, str]],
        now_us: int,
        offset_us: int | None = None,
        pasts: Mapping[str, Past] = NO_PAST,
    ) -> None:
        """The full set of these machines is in hand: held readings, those just ``read``, and refused signals.

        A held reading older than the one read of the same signal says nothing any more. Machines of which the past
        is known go on from before their loss.
        """
        if pasts:
            # a history tells up to when it was read; what the watch saw since may still wait at the server
            self.heard(now_us)
        else:
            self._arrived(now_us)
        self._source_us = max([self._source_us, *(reading.source_us for reading in read)])
        latest = {reading[:2]: reading.source_us for reading in read}
        batch: list[Reading] = []
        for machine in machines:
            held = [r for r in self._held.pop(machine, ()) if r.source_us > latest.get(r[:2], -(2**63))]
            full = sorted([*(r for r in read if r.machine == machine), *held], key=_by_source)
            offset = None if offset_us is None or self._server_clock else offset_us
            corrected = [] if offset is None else [Reading(machine, CLOCK_OFFSET, now_us, now_us, offset)]
            past = pasts.get(machine)
            if past is not None:
                batch += self._gone_on(machine, past, full, corrected, now_us)
            if past is None or past.until_us is not None:
                unknown = [signal for name, signal in refused if name == machine]
                batch += self._returned(machine, full, unknown, corrected, now_us)
        self.tries = 0
        if self._give(batch):
            self._back.update(machines)
            for machine in machines:
                told = {r.signal for r in batch if r.machine == machine} | self._signals.get(machine, frozenset())
                self._signals[machine] = frozenset(told - {LINK, CLOCK_OFFSET})
                self.before.pop(machine, None)

    def _returned(
        self, machine: str, full: list[Reading], unknown: list[str], corrected: list[Reading], now_us: int
    ) -> list[Reading]:
        """The machine is back after a gap, with its full set of values."""
        back_us = self._back_us(machine, now_us)
        return [
            *corrected,
            Reading(machine, LINK, back_us, now_us, LINK_BACK),
            *(Reading(machine, signal, back_us, now_us, None, int(Quality.BAD)) for signal in unknown),
            *full,
        ]

    def _gone_on(
        self, machine: str, past: Past, full: list[Reading], corrected: list[Reading], now_us: int
    ) -> list[Reading]:
        """The machine goes on from before its loss; with a server that was away itself, up to then.

        What has no history is not known from the loss on, until its value now.
        """
        reach, lost_us = past.reach, self.before[machine].lost_us
        blind = (self.before[machine].signals | {r.signal for r in full}) - reach.keys()
        unknown = [
            Reading(machine, signal, past.since_us, now_us, None, int(Quality.BAD)) for signal in sorted(blind)
        ]
        restored = Reading(machine, LINK, lost_us, now_us, LINK_RESTORED)
        if past.until_us is not None:
            until_us = self._lost_us[machine] = past.until_us - past.applied_us
            caught_up = Reading(machine, LINK, until_us, now_us, LINK_CAUGHT_UP)
            lost = Reading(machine, LINK, until_us, now_us, LINK_LOST)
            return [restored, *corrected, *unknown, *past.readings, caught_up, lost]
        live = [r for r in full if r.signal in reach and r.source_us > reach[r.signal]]
        known_us = (self._source_us or now_us) if self._server_clock else now_us + past.applied_us
        known = [r._replace(source_us=max(r.source_us, known_us)) for r in full if r.signal in blind]
        self._seam.update(r[:3] for r in past.readings[-SEAM_READINGS:])
        self._seam_end_us = now_us + SEAM_US
        caught_up = Reading(machine, LINK, now_us, now_us, LINK_CAUGHT_UP)
        return [
            restored,
            *corrected,
            *unknown,
            *sorted([*past.readings, *live], key=_by_source),
            caught_up,
            *known,
        ]

    def _back_us(self, machine: str, now_us: int) -> int:
        us = (self._source_us or now_us) if self._server_clock else now_us
        return max(us, self._lost_us[machine] + 1)

    def hole(self, machines: Iterable[str], good_us: int, good_source_us: int) -> list[str]:
        """Values were lost though the session stands: the machines now lost, to be opened again.

        The times are the last good moment, ours and the server's.
        """
        torn = [machine for machine in machines if machine in self._back]
        self._say_lost(torn, good_source_us if self._server_clock else good_us)
        self._held.update({machine: [] for machine in torn})
        return torn

    def lost(self) -> None:
        """The session is over: every machine that was back is lost since all that was seen had arrived."""
        us = self._accepted_us if self.full else self._source_us if self._server_clock else self._complete_us
        self._held = {}
        self._say_lost([machine for machine in self.machines if machine in self._back], us)

    def _say_lost(self, machines: Sequence[str], us: int) -> None:
        if not machines:
            return
        for machine in machines:
            self._back.discard(machine)
            self._lost_us[machine] = us
            newest_us = us if self._server_clock else self._source_us
            signals = self._signals.get(machine, frozenset())
            self.before[machine] = Before(us, self._life_us, newest_us, signals, self.offset_us)
            self._owed.append(Reading(machine, LINK, us, self._life_us, LINK_LOST))
        self.pay()

    def pay(self) -> bool:
        """Hand over losses that the sink would not take before; True when none is owed."""
        if self._owed and self._sink(list(self._owed)):
            self._owed.clear()
        return not self._owed

    def offset(self, offset_us: int, now_us: int) -> None:
        """The clock offset moved."""
        if self._back and not self._server_clock:
            self._give([Reading(m, CLOCK_OFFSET, now_us, now_us, offset_us) for m in self._in_order()])

    def alive(self, now_us: int) -> None:
        """Say once in a while how far the machines have been watched, if that is further than the last time."""
        seen_us = self._source_us if self._server_clock else self._complete_us
        due = not 0 <= now_us - self._told_at_us < ALIVE_US
        if self._back and due and seen_us != self._told_seen_us:
            self._told_at_us, self._told_seen_us = now_us, seen_us
            self._give([Reading(machine, LINK, seen_us, now_us, LINK_ALIVE) for machine in self._in_order()])

    def _in_order(self) -> list[str]:
        return [machine for machine in self.machines if machine in self._back]

    @property
    def life_us(self) -> int | None:
        """Our time of the last proof of life."""
        return self._life_us or None

    @property
    def source_us(self) -> int:
        """The newest source time seen in this session."""
        return self._source_us

    def _give(self, batch: list[Reading]) -> bool:
        if self.full:
            return False
        # a loss that is still owed comes first, or the order of things would be told wrong
        self.full = not self._sink([*self._owed, *batch] if self._owed else batch)
        if self.full:
            return False
        self._owed.clear()
        self._accepted_us = self._source_us if self._server_clock else self._complete_us
        return True
