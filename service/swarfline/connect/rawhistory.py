"""Raw history of nodes by the HistoryRead service (OPC 10000-4 section 5.11.3, OPC 10000-11 section 6.5.3).

Nothing here trusts a server to end: pages, values and repetitions are bounded, and a continuation point that is
not followed to its end is released. What is not whole says so.
"""

from __future__ import annotations

import contextlib
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any

from asyncua import Client, ua

from swarfline.connect.services import Services

PAGE = 500
"""Values of one node asked for at a time."""
AT_ONCE = 20
"""Nodes asked for at a time: an answer is decoded in one go, and nothing else happens meanwhile."""
MOST_VALUES = 100_000
"""Values of all nodes together; a gap that holds more stays a gap."""
FROM_EVER = datetime(1970, 1, 2, tzinfo=UTC)
_HISTORY_READ = 0x04
"""Bit 2 of AccessLevel and UserAccessLevel (OPC 10000-3 section 8.57)."""
_NONE_THERE = (0x00A5, 0x809B, 0x80D7)
"""GoodNoData, BadNoData, BadBoundNotFound: an answer, though without a value."""
_MAX_RETURNED = ua.NodeId(ua.ObjectIds.HistoryServerCapabilities_MaxReturnDataValues)
NOT_WHOLE = (ua.UaError, TimeoutError)
"""What a server that cannot tell its history raises; the connection's own end is none of it."""


@dataclass(slots=True)
class Course:
    """The values of one node in order of time; ``whole`` is False when some may be missing."""

    node: ua.NodeId
    values: list[ua.DataValue] = field(default_factory=list)
    whole: bool = True
    point: bytes | None = None
    full_page: bool = False

    def take(self, result: ua.HistoryReadResult, page: int) -> None:
        """One answer: its values, and whether there is more to come."""
        code = result.StatusCode.value >> 16
        if code not in _NONE_THERE and not result.StatusCode.is_good():
            self.whole, self.point = False, result.ContinuationPoint
            return
        told = getattr(result.HistoryData, "DataValues", None) or []
        news = self._news([v for v in told if v.StatusCode.value >> 16 not in _NONE_THERE])
        self.values += news
        self.point, before = result.ContinuationPoint or None, self.point
        self.full_page = self.point is None and len(told) >= page
        if self.point is not None and not news and (self.point == before or not told):
            # it goes round in a circle: what follows will never come
            self.whole = False

    def _news(self, told: list[ua.DataValue]) -> list[ua.DataValue]:
        """Without those at the seam that the page before held already: some servers go on from a time."""
        if not self.values:
            return told
        last = _moment(self.values[-1])
        seam = [v for v in reversed(self.values[-PAGE:]) if _moment(v) == last]
        return [v for v in told if not (_moment(v) == last and v in seam)]


def _moment(value: ua.DataValue) -> Any:
    return value.SourceTimestamp or value.ServerTimestamp


class RawHistory:
    """Reads the history of nodes for one session."""

    def __init__(self, client: Client, services: Services) -> None:
        self._client = client
        self._services = services
        services.slices["history"] = min(services.slices["history"], AT_ONCE)
        self._offers: dict[ua.NodeId, bool] = {}
        self._page = 0
        self._left = MOST_VALUES

    async def offered(self, nodes: Sequence[ua.NodeId]) -> list[bool]:
        """Whether each node's history may be read, by the node and by its user."""
        asked = [node for node in nodes if node not in self._offers]
        levels = await self._services.read(asked, ua.AttributeIds.AccessLevel)
        users = await self._services.read(asked, ua.AttributeIds.UserAccessLevel)
        for node, level, user in zip(asked, levels, users, strict=True):
            self._offers[node] = _allows(level, False) and _allows(user, True)
        return [self._offers[node] for node in nodes]

    async def read(self, nodes: Sequence[ua.NodeId], begin: datetime, end: datetime) -> list[Course]:
        """Every value of each node in the time, with the one that held at its begin where the server gives it."""
        await self._learn_page()
        self._left = MOST_VALUES

        async def call(some: Sequence[ua.NodeId]) -> list[Course]:
            return await self._followed([Course(node) for node in some], begin, end)

        courses = await self._services.sliced("history", nodes, call)
        for course in courses:
            while course.full_page and course.whole:
                # cut off at the length of a page, without a word: go on from its last value
                before = len(course.values)
                await self._followed([course], _moment(course.values[-1]), end)
                course.whole = course.whole and (len(course.values) > before or not course.full_page)
        return courses

    async def newest_before(self, nodes: Sequence[ua.NodeId], moment: datetime) -> list[Course]:
        """The newest value of each node up to a moment: reading backwards from it."""

        async def call(some: Sequence[ua.NodeId]) -> list[Course]:
            courses = [Course(node) for node in some]
            for course, result in zip(courses, await self._ask(courses, moment, FROM_EVER, 1), strict=True):
                course.take(result, 2)
                course.values = course.values[:1]
            await self._release([course for course in courses if course.point])
            return courses

        return await self._services.sliced("history", nodes, call)

    async def _learn_page(self) -> None:
        if not self._page:
            value = (await self._services.read([_MAX_RETURNED]))[0].Value.Value
            self._page = min(PAGE, value) if isinstance(value, int) and value > 0 else PAGE

    async def _followed(self, courses: list[Course], begin: datetime, end: datetime) -> list[Course]:
        """Page after page of some nodes, as long as each page brings something and all of it fits."""
        asked = courses
        try:
            while asked:
                for course, result in zip(asked, await self._ask(asked, begin, end, self._page), strict=True):
                    before = len(course.values)
                    course.take(result, self._page)
                    self._left -= len(course.values) - before
                    course.whole = course.whole and self._left >= 0
                asked = [course for course in asked if course.point and course.whole]
        finally:
            await self._release([course for course in courses if course.point])
        return courses

    async def _ask(
        self, courses: Sequence[Course], begin: datetime, end: datetime, most: int
    ) -> list[ua.HistoryReadResult]:
        details = ua.ReadRawModifiedDetails(
            IsReadModified=False, StartTime=begin, EndTime=end, NumValuesPerNode=most, ReturnBounds=begin < end
        )
        results = await self._call(details, courses, release=False)
        if len(results) != len(courses):
            raise ua.UaError(f"the server answered {len(results)} of {len(courses)} history reads")
        return results

    async def _release(self, courses: Sequence[Course]) -> None:
        """Points not followed to their end hold memory at the server; it frees them when the session ends, too."""
        if not courses:
            return
        with contextlib.suppress(*NOT_WHOLE, ConnectionError):
            await self._call(ua.ReadRawModifiedDetails(IsReadModified=False), courses, release=True)
        for course in courses:
            course.point = None

    async def _call(
        self, details: ua.ReadRawModifiedDetails, courses: Sequence[Course], release: bool
    ) -> list[ua.HistoryReadResult]:
        wanted = [ua.HistoryReadValueId(NodeId=course.node, ContinuationPoint=course.point) for course in courses]
        request = ua.HistoryReadParameters(
            HistoryReadDetails=details,
            TimestampsToReturn=ua.TimestampsToReturn.Both,
            ReleaseContinuationPoints=release,
            NodesToRead=wanted,
        )
        return list(await self._client.uaclient.history_read(request))


def _allows(level: ua.DataValue, otherwise: bool) -> bool:
    value = level.Value.Value if level.StatusCode.is_good() else None
    return bool(value & _HISTORY_READ) if isinstance(value, int) else otherwise
