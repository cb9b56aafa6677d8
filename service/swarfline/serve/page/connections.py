"""The page of connections: every server as the collector last told, and the gaps of the last day."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import FastAPI
from starlette.responses import Response

from swarfline.calendar import total
from swarfline.facts import Gap
from swarfline.plant import Server
from swarfline.serve.page import words
from swarfline.serve.page.pages import pages_of
from swarfline.serve.room import InRoom, Room
from swarfline.serve.servers import server_rows
from swarfline.serve.times import show_or_none
from swarfline.serve.tongue import gettext as _

DAY_US = 86_400_000_000
MOST_GAPS = 10
"""Newest gaps of a server that are listed; the API has all of them."""


@dataclass(frozen=True, slots=True)
class GapLine:
    """A gap of one machine in words."""

    machine: str
    start: str
    end: str
    length: str
    reason: str


@dataclass(frozen=True, slots=True)
class Gaps:
    """Gaps of a server's machines in the last 24 hours."""

    count: int
    share: str
    lines: list[GapLine]


def gaps_of(room: Room, server: Server, now_us: int) -> Gaps:
    """The gaps of a server's machines; ``share`` of the 24 hours, of all of its machines together."""
    span = (now_us - DAY_US, now_us)
    found = [gap for m in server.machines for gap in room.queries.facts(Gap, m.id, *span)]
    lost = total((max(g.start_us, span[0]), min(g.end_us, span[1])) for g in found)
    newest = sorted(found, key=lambda g: -g.start_us)[:MOST_GAPS]
    share = words.percent(lost / (DAY_US * len(server.machines)))
    return Gaps(len(found), share, [_line(room, gap, now_us) for gap in newest])


def _line(room: Room, gap: Gap, now_us: int) -> GapLine:
    end = _("goes on") if gap.open else words.clock(gap.end_us, room.zone, now_us)
    start = words.clock(gap.start_us, room.zone, now_us)
    return GapLine(gap.machine, start, end, words.length(gap.end_us - gap.start_us), words.gap(gap.reason))


def state_words(state: str) -> str:
    """How a connection stands, in words."""
    return {
        "connected": _("connected"),
        "connecting": _("connecting"),
        "waiting": _("waiting for the next attempt"),
    }.get(state) or _("not known: the collector is silent")


def install(app: FastAPI) -> None:
    """Serve this page of ``app``."""

    @app.get("/connections", include_in_schema=False)
    def connections(room: InRoom) -> Response:
        now_us = room.now_us()
        gaps = {s.id: gaps_of(room, s, now_us) for s in room.plant.servers}
        at = show_or_none(room.clock_us(), room.zone)
        rows = server_rows(room)
        return pages_of(app).answer("connections.html", servers=rows, gaps=gaps, at=at, state_words=state_words)
