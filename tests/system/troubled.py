"""A simulated past with troubles on its way: gaps, counters that are reset or roll over, readings out of order.

The stream of ``swarfline-sim history`` stands for the machines. Between it and the service a connection is lost
and found again as the collector would tell it, controls forget their counters, and readings of neighbouring
moments arrive in another order. What was done is noted, so that the truth can be cut to what could be seen.
"""

from __future__ import annotations

import json
import math
import random
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import groupby
from typing import Any, NamedTuple

from swarfline.signals import LINK, LINK_ALIVE, LINK_BACK, LINK_LOST, Reading

from .accounts import Span

SECOND_US = 1_000_000
HOUR_US = 3600 * SECOND_US
QUARTER_US = 900 * SECOND_US
KINDS = {"part_count": "total", "good_count": "good", "scrap_count": "scrap"}
WIDTHS = {"part_count": 16, "good_count": 32, "scrap_count": 32}
"""Bits, as in the plant file of the month."""
FIRST_SHOWN = 65_400
"""So that the part counter of each machine rolls over when 136 parts are made."""
REORDER_US = SECOND_US
"""The service's reorder window."""
JITTER_US = 900_000
"""Less than that: nothing comes too late."""

Raw = tuple[str, int, Any]
"""(signal, source time in µs, value)"""


class Reset(NamedTuple):
    """A control forgets a counter."""

    at_us: int
    signal: str


@dataclass
class Troubles:
    """What is to happen to one machine."""

    gaps: list[Span]
    resets: list[Reset]


def draw_troubles(machine: str, span: Span, seed: int) -> Troubles:
    """About one gap a day, from seconds to hours, and a reset every two days, some of them in gaps."""
    chance = random.Random(f"{seed} {machine}")
    gaps: list[Span] = []
    at_us = span.start_us + HOUR_US
    while (at_us := at_us + int(chance.expovariate(1 / 20) * HOUR_US)) < span.end_us - 5 * HOUR_US:
        length = int(math.exp(chance.uniform(math.log(2), math.log(4 * 3600))) * SECOND_US)
        gaps.append(Span(at_us, at_us + length))
        at_us += length + 60 * SECOND_US
    days = (span.end_us - span.start_us) / (24 * HOUR_US)
    moments = [chance.randrange(span.start_us + HOUR_US, span.end_us) for _ in range(round(days / 2))]
    moments += [(gap.start_us + gap.end_us) // 2 for gap in gaps if gap.end_us - gap.start_us > HOUR_US][::2]
    return Troubles(gaps, sorted(Reset(us, chance.choice(list(KINDS))) for us in moments))


@dataclass
class Notes:
    """What was done to one machine. Power in W, None out of sight; energy in Wh as the counter showed it."""

    gaps: list[Span] = field(default_factory=list)
    counted: list[tuple[int, str, int]] = field(default_factory=list)
    """(time of the return, kind, parts counted across the gap)"""
    resets: int = 0
    rolled: int = 0
    power: list[tuple[int, float | None]] = field(default_factory=list)
    meter: list[float] = field(default_factory=list)

    def across(self, kind: str, span: Span | None = None) -> int:
        """Parts of a kind counted across the gaps that ended in a span, or ever."""
        inside = [n for us, k, n in self.counted if k == kind and (span is None or span[0] <= us < span[1])]
        return sum(inside)


class Wire:
    """What arrives of one machine's readings."""

    def __init__(self, machine: str, troubles: Troubles, seed: int) -> None:
        self.machine = machine
        self.notes = Notes()
        self.newest_us = 0
        self._chance = random.Random(f"{seed} {machine} order")
        self._gaps = list(troubles.gaps)
        self._resets = list(troubles.resets)
        self._latest: dict[str, tuple[int, Any]] = {}
        self._raw: dict[str, int] = {}
        self._base: dict[str, int] = {}
        self._told: dict[str, int] = {}
        self._lost_us: int | None = None
        self._out: list[Reading] = []
        self._segment: list[tuple[int, Reading]] = []

    def carry(self, readings: Iterable[Raw]) -> list[Reading]:
        """Take the next readings in, in order of time; what arrives of them, in order of arrival."""
        for at_us, instant in groupby(readings, key=lambda reading: reading[1]):
            self._pass_to(at_us)
            late_us = at_us + self._chance.randrange(JITTER_US)
            for signal, _, raw in instant:
                self._show(signal, at_us, self._counted(signal, raw), late_us)
        self._flush()
        found, self._out = self._out, []
        return found

    def cut(self, back_us: int) -> None:
        """The service ended just now, and sees the machine again at ``back_us``."""
        if self._lost_us is None:
            self._lost_us = self.newest_us
            self.notes.power.append((self.newest_us, None))
            self._gaps.insert(0, Span(self.newest_us, back_us))
        elif self._gaps[0].end_us < back_us:
            self._gaps[0] = Span(self._lost_us, back_us)

    def end(self, until_us: int) -> list[Reading]:
        """What is told at the end: everything arrived, and what could be late has been waited for."""
        self._pass_to(until_us)
        self._flush()
        found, self._out = self._out, []
        waited_us = until_us + REORDER_US
        return [*found, Reading(self.machine, LINK, waited_us, waited_us, LINK_ALIVE)]

    def _pass_to(self, us: int) -> None:
        """What happens up to a moment, in order of time."""
        while True:
            edge = self._edge()
            reset = self._resets[0].at_us if self._resets else us + 1
            if min(edge, reset) > us:
                return
            if reset <= edge:
                self._reset(self._resets.pop(0))
            elif self._lost_us is None:
                self._lose(edge)
            else:
                self._return(edge)

    def _edge(self) -> int:
        """When the next gap begins, or this one ends."""
        if not self._gaps:
            return 2**62
        return self._gaps[0].start_us if self._lost_us is None else self._gaps[0].end_us

    def _lose(self, us: int) -> None:
        self._flush()
        # a gap drawn at random may begin where another, longer one, has just ended
        self._lost_us = max(us, self.newest_us)
        self.newest_us = self._lost_us
        self._out.append(Reading(self.machine, LINK, self._lost_us, self._lost_us, LINK_LOST))
        self.notes.power.append((self._lost_us, None))

    def _return(self, us: int) -> None:
        assert self._lost_us is not None
        self.notes.gaps.append(Span(self._lost_us, us))
        self._gaps.pop(0)
        self._gaps = [gap for gap in self._gaps if gap.end_us > us]
        self._lost_us = None
        self._out.append(Reading(self.machine, LINK, us, us, LINK_BACK))
        self.newest_us = us
        for signal, kind in KINDS.items():
            self.notes.counted.append((us, kind, self._gained(signal)))
        whole = list(self._latest.items())
        self._chance.shuffle(whole)
        for signal, (changed_us, value) in whole:
            self._out.append(Reading(self.machine, signal, changed_us, us, value))
            self._note(signal, us, value)

    def _gained(self, signal: str) -> int:
        """What a counter shows at a return that it had not shown before."""
        before, now = self._told.get(signal), self._latest[signal][1]
        modulus = 1 << WIDTHS[signal]
        if before is None or now >= before:
            return 0 if before is None else now - before
        return int(now + modulus - before if before - now > modulus // 2 else now)

    def _counted(self, signal: str, raw: Any) -> Any:
        if signal not in KINDS:
            return raw
        first = FIRST_SHOWN if signal == "part_count" else raw
        base = self._base.setdefault(signal, raw - first)
        self._raw[signal] = raw
        return (raw - base) % (1 << WIDTHS[signal])

    def _reset(self, reset: Reset) -> None:
        signal = reset.signal
        shown = self._latest[signal][1]
        if not 0 < shown < 1 << (WIDTHS[signal] - 1):
            # one that shows nothing has nothing to forget, and at the top a reset looks like a roll-over
            return
        self.notes.resets += 1
        self._base[signal] = self._raw[signal]
        self._show(signal, reset.at_us, 0, reset.at_us)

    def _show(self, signal: str, us: int, value: Any, late_us: int) -> None:
        self._latest[signal] = (us, value)
        if self._lost_us is not None:
            return
        self.newest_us = max(self.newest_us, us)
        self._segment.append((late_us, Reading(self.machine, signal, us, us, value)))
        self._note(signal, us, value)

    def _note(self, signal: str, us: int, value: Any) -> None:
        if signal in KINDS:
            before = self._told.get(signal, 0)
            self.notes.rolled += before - value > 1 << (WIDTHS[signal] - 1)
            self._told[signal] = value
        elif signal == "power":
            self.notes.power.append((us, value))
        elif signal == "energy":
            self.notes.meter.append(value)

    def _flush(self) -> None:
        self._segment.sort(key=lambda item: item[0])
        self._out += [reading for _, reading in self._segment]
        self._segment = []


def blocks(lines: Iterable[bytes]) -> Iterator[tuple[str, int, list[Raw]]]:
    """(machine, quarter of an hour, readings) of a stream of ``swarfline-sim history``, in its order."""
    for (machine, quarter), found in groupby(_each(lines), key=lambda item: (item[0], item[1][1] // QUARTER_US)):
        yield machine, quarter, [reading for _, reading in found]


def _each(lines: Iterable[bytes]) -> Iterator[tuple[str, Raw]]:
    for line in lines:
        data = json.loads(line)
        for signal, us, value in data.get("readings", ()) if "machine" in data else ():
            yield data["machine"], (signal, us, value)


def restarts(span: Span, shares: Sequence[float]) -> list[int]:
    """Quarters of an hour before which the service is ended and started again."""
    return [int(span.start_us + share * (span.end_us - span.start_us)) // QUARTER_US for share in shares]
