"""What happened while a connection was away, read back from the server's history.

A machine's past counts only as a whole: every signal that cuts its conditions and cycles must have kept history
from before the loss up to now. Evidence that it did: a value from before the time asked about, the value that the
node shows now as the last one, and a server that did not start in between. Anything less leaves the gap what it
is.
"""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from asyncua import ua

from swarfline import clock
from swarfline.connect.decode import Decoder
from swarfline.connect.items import Item
from swarfline.connect.links import Links
from swarfline.connect.lives import DOWN_FIELDS, PARTS, UP_FIELDS
from swarfline.connect.past import Before, Past
from swarfline.connect.rawhistory import NOT_WHOLE, Course, RawHistory
from swarfline.connect.reasons import plain
from swarfline.connect.services import Services
from swarfline.connect.stamps import EPOCH, believed, stamp_us
from swarfline.connect.status import Tally
from swarfline.connect.stock import Stock
from swarfline.connect.tasks import heed, within
from swarfline.grounds import cutting_signals
from swarfline.plant.model import Plant, Server
from swarfline.signals import Reading, tool_signal

LIMIT_S = 20.0
"""Live values wait while history is read: no longer than this."""
OVERLAP_US = 2_000_000
"""History is read from so long before what was final at the loss; what had arrived is told apart and left out."""
MOST_TRIES = 2
"""A server that ends the connection when it is asked for history is asked no more for the same loss."""
LAG_TRIES, LAG_S = 4, 0.4
"""A server may write its history a little after it tells a value."""
_AHEAD = timedelta(days=1)
_NO_SEAM = 2**62
_SETTINGS = tuple(f"].{part}" for part in PARTS if part != "value")
_STARTED = ua.NodeId(ua.ObjectIds.Server_ServerStatus_StartTime)
_LIFE_FIELDS = tuple(dict.fromkeys((*UP_FIELDS, *DOWN_FIELDS)))

log = logging.getLogger("swarfline.connect")


@dataclass(slots=True)
class _Kept:
    """An item and what its node's history holds; its machine showed nothing newer than ``seam_us``."""

    item: Item
    course: Course
    seam_us: int

    def newest_us(self, end_us: int) -> int:
        """Source time of its last value up to a moment, 0 for none."""
        return max((us for us in map(_us, self.course.values) if us <= end_us), default=0)


def _us(value: ua.DataValue) -> int:
    return stamp_us(value.SourceTimestamp) or stamp_us(value.ServerTimestamp) or 0


def _recorded_us(value: ua.DataValue) -> int:
    """When a server had a value: what it found when it started may carry a time of before."""
    return max(_us(value), stamp_us(value.ServerTimestamp) or 0)


def _time(us: int) -> datetime:
    return EPOCH + timedelta(microseconds=us)


class Readback:
    """Reads back for the machines of one session; ``offset`` gives the server's clock minus ours, if known."""

    def __init__(
        self, server: Server, plant: Plant, services: Services, history: RawHistory, stock: Stock,
        decoder: Decoder, links: Links, tally: Tally, offset: Callable[[], int | None],
    ) -> None:  # fmt: skip
        self._server = server
        self._plant = plant
        self._services = services
        self._history = history
        self._stock = stock
        self._decoder = decoder
        self._links = links
        self._tally = tally
        self._offset = offset

    def is_due(self, machines: Sequence[str]) -> bool:
        """Whether anything is known of a time before that could be gone on from."""
        return self._server.history and any(machine in self._links.before for machine in machines)

    async def pasts(self, machines: Sequence[str]) -> dict[str, Past]:
        """What the history told, by machine, where it told enough; a server's faults raise nothing."""
        befores = {m: self._links.before[m] for m in machines if m in self._links.before}
        if not self._server.history or not befores or self._links.tries >= MOST_TRIES:
            return {}
        self._links.tries += 1
        try:
            async with within(LIMIT_S):
                found = await self._read(befores)
        except NOT_WHOLE as problem:
            return self._none(problem)
        except OSError:
            raise
        except Exception as problem:
            # an answer that cannot be decoded is a history that tells nothing
            return self._none(problem)
        self._tally.note_read_back(len(found), clock.now_us())
        return found

    def _none(self, problem: Exception) -> dict[str, Past]:
        heed()
        log.info("server %s: no history read back: %s", self._server.id, plain(problem, LIMIT_S))
        return {}

    async def _read(self, befores: Mapping[str, Before]) -> dict[str, Past]:
        items = [item for item in self._stock.of(befores) if not item.name.endswith(".version")]
        offered = await self._history.offered([item.node for item in items])
        settings = [item for item, is_offered in zip(items, offered, strict=True) if not is_offered]
        items = [item for item, is_offered in zip(items, offered, strict=True) if is_offered]
        enough = [m for m in befores if self._is_enough(m, items) and self._is_same_clock(befores[m])]
        items = [item for item in items if item.machine in enough]
        if not items:
            return {}
        started_us = stamp_us((await self._services.read([_STARTED]))[0].Value.Value)
        if started_us is None:
            return {}
        begin_us = {m: self._begin_us(befores[m]) for m in enough}
        kept = await self._whole(items, min(begin_us.values()))
        kept += await self._standing([item for item in settings if item.machine in begin_us], begin_us)
        pasts = {m: self._past(m, befores[m], kept, begin_us[m], started_us) for m in enough}
        return {machine: past for machine, past in pasts.items() if past is not None}

    def _begin_us(self, before: Before) -> int:
        """From when on to read, in the server's clock."""
        window_us = round(self._plant.interpret.reorder_window_s * 1e6)
        return before.lost_us + self._applied_us - window_us - OVERLAP_US

    @property
    def _applied_us(self) -> int:
        """What interpretation takes from source times: an offset within the tolerance counts as none."""
        offset_us = self._offset() or 0
        is_wide = abs(offset_us) > self._plant.interpret.clock_tolerance_s * 1e6
        return offset_us if is_wide and self._server.clock == "ours" else 0

    def _is_same_clock(self, before: Before) -> bool:
        """A clock that was set meanwhile cannot tell when things happened before."""
        moved_us = abs((self._offset() or 0) - (before.offset_us or 0))
        limit_us = 2e6 * self._plant.interpret.clock_tolerance_s
        return before.offset_us is None or self._server.clock == "server" or moved_us <= limit_us

    def _is_enough(self, machine: str, items: Sequence[Item]) -> bool:
        """Whether these items tell all that cuts the machine's conditions and cycles."""
        told = {item.name for item in items if item.machine == machine}
        settings = self._plant.machine(machine)
        return cutting_signals(self._plant.nodes_of(settings), settings.cycle_bounds) <= told

    async def _whole(self, items: Sequence[Item], begin_us: int) -> list[_Kept]:
        """The items whose history holds the whole time from ``begin_us`` to now."""
        now_us = max(clock.now_us() + (self._offset() or 0), self._links.source_us)
        begin, end = _time(begin_us), _time(now_us) + _AHEAD
        whole: list[_Kept] = []
        waiting, seam_us = list(items), dict[str, int]()
        for attempt in range(LAG_TRIES):
            if attempt:
                await asyncio.sleep(LAG_S)
            # the values first: what the history holds then is newer, or it lags behind
            shown = await self._services.read([item.node for item in waiting])
            seam_us = seam_us or _newest_us(waiting, shown)
            courses = await self._history.read([item.node for item in waiting], begin, end)
            await self._reach_back(courses, begin)
            lagging = []
            for item, value, course in zip(waiting, shown, courses, strict=True):
                course.whole = course.whole and self._is_timed(course)
                if course.whole and _is_up_to_date(course, value):
                    whole.append(_Kept(item, course, seam_us[item.machine]))
                elif course.whole:
                    lagging.append(item)
            waiting = lagging
            if not waiting:
                break
        return whole

    async def _standing(self, items: Sequence[Item], begin_us: Mapping[str, int]) -> list[_Kept]:
        """The settings of tool lives that have no history and need none: each shows a time of before the loss,
        which is that of its last change (OPC 10000-4, SourceTimestamp; from memory).
        """
        settings = [item for item in items if item.name.endswith(_SETTINGS)]
        shown = await self._services.read([item.node for item in settings]) if settings else []
        return [
            _Kept(item, Course(item.node, [value]), _NO_SEAM)
            for item, value in zip(settings, shown, strict=True)
            if value.StatusCode.is_good() and 0 < _us(value) <= begin_us[item.machine]
        ]

    def _is_timed(self, course: Course) -> bool:
        """Whether every value carries a time to be believed: another one would be taken for a value of now."""
        now_us = self._links.fallback_us(clock.now_us())
        earliest_us, latest_us = believed(now_us, self._server.clock == "server")
        return all(earliest_us < _us(value) < latest_us for value in course.values)

    async def _reach_back(self, courses: Sequence[Course], begin: datetime) -> None:
        """See that each history was kept before the time asked about: there is a value, told at its begin."""
        begin_us = stamp_us(begin) or 0
        doubtful = [c for c in courses if c.whole and not (c.values and _us(c.values[0]) <= begin_us)]
        found = await self._history.newest_before([course.node for course in doubtful], begin)
        for course, before in zip(doubtful, found, strict=True):
            if before.whole and before.values and _us(before.values[0]) <= begin_us:
                course.values.insert(0, before.values[0])
            else:
                course.whole = False

    def _past(
        self, machine: str, before: Before, kept: Sequence[_Kept], begin_us: int, started_us: int
    ) -> Past | None:
        """What the histories of one machine tell together, None where that is too little to go by."""
        own = [one for one in kept if one.item.machine == machine]
        if not self._is_enough(machine, [one.item for one in own]):
            return None
        lost_us = before.lost_us + self._applied_us
        until_us = None
        if started_us - (self._offset() or 0) > before.heard_us:
            times = [_us(v) for one in own for v in one.course.values if _recorded_us(v) < started_us]
            until_us = max(times, default=0)
            if until_us <= lost_us or self._server.clock == "server":
                return None
        end_us = own[0].seam_us if until_us is None else until_us
        reach = self._reach(own, end_us)
        readings = [r for r in self._decoded(own) if begin_us <= r.source_us <= end_us and r.signal in reach]
        since_us = max(lost_us, before.newest_us)
        return Past(tuple(readings), reach, since_us, self._applied_us, until_us)

    def _decoded(self, kept: Sequence[_Kept]) -> list[Reading]:
        """In order of time over all items: what a tool's life tells depends on several of them."""
        pairs = [(one.item.handle, value) for one in kept for value in one.course.values]
        pairs.sort(key=lambda pair: _us(pair[1]))
        now_us, dead = clock.now_us(), set(self._decoder.dead)
        readings = self._decoder.decode(pairs, now_us, self._links.fallback_us(now_us))
        # statuses of long ago: no queue ran over and no node went away just now
        self._decoder.overflowed.clear()
        self._decoder.dead &= dead
        return readings

    def _reach(self, kept: Sequence[_Kept], end_us: int) -> dict[str, int]:
        """The newest source time up to ``end_us`` of each signal that is wholly known: a tool's life by all of its
        parts.
        """
        plain, parts = {}, {}
        for one in kept:
            if self._decoder.is_plain(one.item.handle):
                plain[one.item.name] = one.newest_us(end_us)
            else:
                parts[one.item.handle] = one.newest_us(end_us)
        lives: dict[str, int | None] = {}
        for item in self._stock.of({one.item.machine for one in kept}):
            if not self._decoder.is_plain(item.handle) and not item.name.endswith(".version"):
                key = item.name[len("tools[") : item.name.index("]")]
                part, newest_us = parts.get(item.handle), lives.get(key, 0)
                lives[key] = None if part is None or newest_us is None else max(newest_us, part)
        known = {tool_signal(k, f): us for k, us in lives.items() if us is not None for f in _LIFE_FIELDS}
        return {**known, **plain}


def _newest_us(items: Sequence[Item], shown: Sequence[ua.DataValue]) -> dict[str, int]:
    """The newest source time that each machine shows: the seam of what was and what is watched.

    Nodes are read one after the other, and later ones tell of more. What came meanwhile is on its way by the
    watch, of all nodes alike; told from the history of some, it would make that of the others come too late.
    Where a node shows no time there is no seam.
    """
    found: dict[str, int] = {}
    for item, value in zip(items, shown, strict=True):
        found[item.machine] = max(found.get(item.machine, 0), _us(value) or _NO_SEAM)
    return found


def _is_up_to_date(course: Course, shown: ua.DataValue) -> bool:
    """Whether the last value of the history is the one that the node shows, or a newer one."""
    last = course.values[-1]
    return _us(last) >= _us(shown) or last.Value == shown.Value
