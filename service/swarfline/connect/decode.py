"""Delivered values to readings: the hot path, so everything that can be is prepared per item."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import UTC
from operator import itemgetter
from typing import Any

from asyncua import ua

from swarfline.connect.mapping import Convert, Unmapped
from swarfline.connect.names import Names
from swarfline.connect.stamps import EARLIEST_US, EPOCH, LATEST_US, stamp_us
from swarfline.connect.status import Tally
from swarfline.signals import Quality, Reading, Value

Special = Callable[[Any, int, int, int], list[Reading]]
"""(raw, source_us, received_us, quality) → readings, for items whose value says more than one thing."""

OVERFLOW = 0x480
"""InfoType DataValue and Overflow: values were lost in the server's queue before this one."""
_DEAD = (0x8033, 0x8034)
"""BadNodeIdInvalid, BadNodeIdUnknown: the node went away."""
_PLAIN = frozenset({int, float, bool, str, type(None)})
_GOOD, _UNCERTAIN, _BAD = int(Quality.GOOD), int(Quality.UNCERTAIN), int(Quality.BAD)
_by_source = itemgetter(2)


class Decoder:
    """Turns (client handle, DataValue) pairs of one session into readings, sorted by source time.

    ``overflowed`` gathers machines whose queue ran over, ``dead`` handles whose node went away.
    """

    def __init__(self, names: Names, tally: Tally) -> None:
        self._names = names
        self._tally = tally
        self._routes: dict[int, tuple[str, str, Convert]] = {}
        self._specials: dict[int, tuple[str, Special]] = {}
        self.overflowed: set[str] = set()
        self.dead: set[int] = set()

    def route(self, handle: int, machine: str, signal: str, convert: Convert) -> None:
        """Values of ``handle`` become readings of this signal."""
        self._routes[handle] = (machine, signal, convert)

    def route_special(self, handle: int, machine: str, special: Special) -> None:
        """Values of ``handle`` go through ``special``."""
        self._specials[handle] = (machine, special)

    def is_plain(self, handle: int) -> bool:
        """Whether values of ``handle`` become readings of one signal, by themselves."""
        return handle in self._routes

    def forget(self, handle: int) -> None:
        """Values of ``handle`` that are still on their way are dropped."""
        self._routes.pop(handle, None)
        self._specials.pop(handle, None)

    def decode(
        self, pairs: Iterable[tuple[int, ua.DataValue]], received_us: int, fallback_us: int
    ) -> list[Reading]:
        """The readings of one response; ``fallback_us`` is the source time of values that carry none."""
        readings: list[Reading] = []
        keep, routes, new = readings.append, self._routes, tuple.__new__
        for handle, data in pairs:
            stamp = data.SourceTimestamp
            if stamp is not None and stamp.tzinfo is UTC:
                delta = stamp - EPOCH
                source_us = (delta.days * 86_400 + delta.seconds) * 1_000_000 + delta.microseconds
                if not EARLIEST_US < source_us < LATEST_US:
                    source_us = _second_choice(data, fallback_us)
            else:
                source_us = _second_choice(data, fallback_us)
            status = data.StatusCode.value
            route = routes.get(handle)
            if route is None:
                readings += self._special(handle, data, source_us, received_us)
                continue
            machine, signal, convert = route
            quality = _GOOD if status == 0 else self._quality(handle, machine, status)
            value: Value = None
            if quality != _BAD:
                raw = data.Value.Value
                try:
                    value = convert(raw if raw.__class__ in _PLAIN else self.simple(raw))
                except Unmapped as problem:
                    self._tally.note_unmapped(machine, signal, problem.code)
                    quality = _BAD
                except (ValueError, TypeError, OverflowError):
                    quality = _BAD
            keep(new(Reading, (machine, signal, source_us, received_us, value, quality)))
        readings.sort(key=_by_source)
        return readings

    def _special(self, handle: int, data: ua.DataValue, source_us: int, received_us: int) -> list[Reading]:
        if handle not in self._specials:
            return []
        machine, special = self._specials[handle]
        quality = self._quality(handle, machine, data.StatusCode.value)
        raw = self.simple(data.Value.Value) if quality != _BAD else None
        return special(raw, source_us, received_us, quality)

    def _quality(self, handle: int, machine: str, status: int) -> int:
        if status & OVERFLOW == OVERFLOW:
            self.overflowed.add(machine)
            self._tally.overflows += 1
        if status >> 16 in _DEAD:
            self.dead.add(handle)
        severity = status >> 30
        return _BAD if severity >= 2 else _UNCERTAIN if severity == 1 else _GOOD

    def simple(self, raw: Any) -> Any:
        """OPC UA's own types as texts and numbers."""
        if isinstance(raw, list):
            return [self.simple(element) for element in raw]
        if isinstance(raw, ua.LocalizedText):
            return raw.Text
        if isinstance(raw, ua.NodeId):
            return self._names.code(raw)
        if isinstance(raw, ua.QualifiedName):
            return raw.Name
        return raw


def _second_choice(data: ua.DataValue, fallback_us: int) -> int:
    for stamp in (data.SourceTimestamp, data.ServerTimestamp):
        us = stamp_us(stamp)
        if us is not None:
            return us
    return fallback_us
