"""Delivered values to readings: the hot path, so everything that can be is prepared per item."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import UTC
from operator import itemgetter
from typing import Any

from asyncua import ua

from swarfline.connect.mapping import CANNOT, Convert
from swarfline.connect.names import Names
from swarfline.connect.stamps import EPOCH, believed, stamp_us
from swarfline.connect.status import Tally
from swarfline.connect.unusable import TIME_NOT_BELIEVED, Altered, Unmapped, kind_of
from swarfline.signals import Quality, Reading, Value

Special = Callable[[Any, int, int, int], list[Reading]]
"""(raw, source_us, received_us, quality) → readings, for items whose value says more than one thing."""

OVERFLOW = 0x480
"""InfoType DataValue and Overflow: values were lost in the server's queue before this one."""
DEAD = (0x8033, 0x8034)
"""BadNodeIdInvalid, BadNodeIdUnknown: the node went away."""
_PLAIN = frozenset({int, float, bool, str, type(None)})
_GOOD, _UNCERTAIN, _BAD = int(Quality.GOOD), int(Quality.UNCERTAIN), int(Quality.BAD)
_by_source = itemgetter(2)


class Decoder:
    """Turns (client handle, DataValue) pairs of one session into readings, sorted by source time.

    ``overflowed`` gathers machines whose queue ran over, ``dead`` handles whose node went away.
    ``joining``: handles whose first value is still to come while others have long been watched.
    """

    def __init__(self, names: Names, tally: Tally, server_clock: bool = False) -> None:
        self._names = names
        self._tally = tally
        self._server_clock = server_clock
        self._routes: dict[int, tuple[str, str, Convert]] = {}
        self._specials: dict[int, tuple[str, Special]] = {}
        self.overflowed: set[str] = set()
        self.dead: set[int] = set()
        self.joining: set[int] = set()

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
        self.joining.discard(handle)

    def decode(
        self, pairs: Iterable[tuple[int, ua.DataValue]], received_us: int, fallback_us: int
    ) -> list[Reading]:
        """The readings of one response; ``fallback_us`` is the source time of values that carry none: the
        server's time now. A time far from it is none (stamps.believed).
        """
        readings: list[Reading] = []
        joined: list[int] = []
        keep, routes, joining, new = readings.append, self._routes, self.joining, tuple.__new__
        earliest_us, latest_us = believed(fallback_us, self._server_clock)
        for handle, data in pairs:
            stamp = data.SourceTimestamp
            if stamp is not None and stamp.tzinfo is UTC:
                delta = stamp - EPOCH
                source_us = (delta.days * 86_400 + delta.seconds) * 1_000_000 + delta.microseconds
                if not earliest_us < source_us < latest_us:
                    source_us = self._doubtful(handle, data, fallback_us)
            else:
                source_us = self._doubtful(handle, data, fallback_us)
            if joining and handle in joining:
                # its last change may lie long before what is final by now: it holds from here on
                joined.append(handle)
                source_us = max(source_us, fallback_us)
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
                except Altered as problem:
                    self._tally.ignored.note(machine, signal, problem.kind, raw)
                    value = problem.value
                except CANNOT as problem:
                    self._note(machine, signal, problem, raw)
                    quality = _BAD
            keep(new(Reading, (machine, signal, source_us, received_us, value, quality)))
        readings.sort(key=_by_source)
        joining.difference_update(joined)
        return readings

    def _note(self, machine: str, signal: str, problem: Exception, raw: Any) -> None:
        if isinstance(problem, Unmapped):
            self._tally.note_unmapped(machine, signal, problem.code)
        else:
            self._tally.ignored.note(machine, signal, kind_of(problem, raw), raw)

    def _doubtful(self, handle: int, data: ua.DataValue, fallback_us: int) -> int:
        """The time of a value whose source time is missing, or far from the server's clock."""
        earliest_us, latest_us = believed(fallback_us, self._server_clock)
        source_us, server_us = stamp_us(data.SourceTimestamp), stamp_us(data.ServerTimestamp)
        if source_us is not None and earliest_us < source_us < latest_us:
            return source_us
        if data.SourceTimestamp is not None:
            machine, signal = self._place(handle)
            self._tally.ignored.note(machine, signal, TIME_NOT_BELIEVED, data.SourceTimestamp)
        return server_us if server_us is not None and earliest_us < server_us < latest_us else fallback_us

    def _place(self, handle: int) -> tuple[str, str]:
        if handle in self._routes:
            return self._routes[handle][:2]
        return (self._specials[handle][0], "tools") if handle in self._specials else ("", "")

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
        if status >> 16 in DEAD:
            self.dead.add(handle)
        severity = status >> 30
        return _BAD if severity >= 2 else _UNCERTAIN if severity == 1 else _GOOD

    def simple(self, raw: Any) -> Any:
        """OPC UA's own types as texts and numbers."""
        if isinstance(raw, list):
            # an array is of one type; a long one is not copied element by element for the one that is wanted
            return raw if raw and raw[0].__class__ in _PLAIN else [self.simple(element) for element in raw]
        if isinstance(raw, ua.LocalizedText):
            return raw.Text
        if isinstance(raw, ua.NodeId):
            return self._names.code(raw)
        if isinstance(raw, ua.QualifiedName):
            return raw.Name
        if isinstance(raw, ua.Variant):
            return self.simple(raw.Value)
        return raw
