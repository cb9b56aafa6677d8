"""The list of stops of a span, of all machines: by condition, reason and length, with their sum on top."""

from __future__ import annotations

from dataclasses import dataclass, replace
from urllib.parse import urlencode, urlsplit

from fastapi import FastAPI, Request
from starlette.responses import Response

from swarfline.measure.elements import NOT_PRODUCING
from swarfline.measure.losses import LONG, SHORT
from swarfline.measure.stops import BY_ALARM, BY_PERSON, BY_RULE, Stop
from swarfline.plant import Machine
from swarfline.sentence import N_, Sentence
from swarfline.serve.assemble import Assembly
from swarfline.serve.page import amounts, words
from swarfline.serve.page.choosing import Chosen, choose, page_number
from swarfline.serve.page.pages import pages_of
from swarfline.serve.page.production import state_of
from swarfline.serve.page.production_sides import is_fine, of_its_shift
from swarfline.serve.page.production_tables import PATH, STOPS_PATH
from swarfline.serve.problems import wrong
from swarfline.serve.room import InRoom, Room
from swarfline.serve.spans import DAY
from swarfline.serve.stops import StopRow, stop_row
from swarfline.serve.table import csv_answer
from swarfline.serve.times import show
from swarfline.serve.tongue import gettext as _

KEPT = ("condition", "length", "reason", "named", "sort")
MOST = 100
"""Stops of one page; the CSV has all."""
_AROUND_US = 600_000_000


@dataclass(frozen=True, slots=True)
class Wanted:
    """Which stops are listed; empty asks for nothing. With a condition only the time in that one counts."""

    condition: str = ""
    length: str = ""
    reason: str = ""
    named: str = ""
    sort: str = "longest"

    @classmethod
    def of(cls, told: dict[str, str]) -> Wanted:
        """As the address says; ends the request with 422 for what is not known."""
        allowed = {
            "condition": NOT_PRODUCING,
            "length": (SHORT, LONG),
            "named": ("yes", "no"),
            "sort": ("longest", "newest"),
        }
        for name, known in allowed.items():
            if told.get(name, known[0]) not in known:
                raise wrong(
                    name, Sentence(N_("{value} is not known"), {"value": repr(told[name][:40])}), ", ".join(known)
                )
        return cls(**{name: told[name] for name in KEPT if name in told})

    def fits(self, stop: Stop) -> bool:
        """Whether a stop is wanted."""
        return (
            (not self.condition or bool(stop.by_condition.get(self.condition)))
            and (not self.length or stop.long == (self.length == LONG))
            and (not self.reason or stop.reason == self.reason)
            and (not self.named or bool(stop.reason) == (self.named == "yes"))
        )

    def counted_us(self, stop: Stop) -> int:
        """The planned time of a stop in the span that is asked about, µs."""
        return stop.by_condition.get(self.condition, 0) if self.condition else stop.planned_us


@dataclass(frozen=True, slots=True)
class StopLine:
    """One stop; ``address`` is its machine's day around it."""

    machine: Machine
    stop: Stop
    begun: str
    counted_us: int
    by: str
    address: str


@dataclass(frozen=True, slots=True)
class StopsView:
    """One page of the list; ``coverage`` as a ratio, ``count`` and ``sum_us`` are of all its pages."""

    lines: list[StopLine]
    count: int
    sum_us: int
    machines: int
    reasons: list[str]
    coverage: float | None
    page: int
    pages: int

    @property
    def first(self) -> int:
        """Number of the first stop that is shown."""
        return (self.page - 1) * MOST + 1

    @property
    def last(self) -> int:
        """Number of the last one."""
        return self.first + len(self.lines) - 1


def stops_of(work: Assembly, chosen: Chosen) -> list[tuple[Machine, Stop]]:
    """Every stop of the machines and the span chosen, by machine and time."""
    return [(m, s) for m in chosen.machines for s in work.stops(m.id, work.span)]


def stops_view(chosen: Chosen, wanted: Wanted, page: int = 1) -> StopsView:
    """A page of the list of the machines and the span chosen; one behind the last is the last."""
    work = Assembly(chosen.room, chosen.asked.interval, chosen.asked.now_us)
    every = stops_of(work, chosen)
    found = [(m, s) for m, s in every if wanted.fits(s)]
    if wanted.sort == "newest":
        found.sort(key=lambda pair: -pair[1].start_us)
    else:
        found.sort(key=lambda pair: (-wanted.counted_us(pair[1]), pair[1].start_us))
    pages = max(1, -(-len(found) // MOST))
    page = min(page, pages)
    share = work.coverage([m.id for m in chosen.machines])
    return StopsView(
        [_line(chosen, wanted, m, s) for m, s in found[(page - 1) * MOST : page * MOST]],
        len(found),
        sum(wanted.counted_us(s) for _, s in found),
        len({m.id for m, _ in found}),
        sorted({s.reason for _, s in every if s.reason}, key=words.natural),
        None if share is None else float(share),
        page,
        pages,
    )


def _line(chosen: Chosen, wanted: Wanted, machine: Machine, stop: Stop) -> StopLine:
    room = chosen.room
    told = {BY_PERSON: _("by a person"), BY_RULE: _("by a rule"), BY_ALARM: _("by the machine’s alarm")}
    return StopLine(
        machine,
        stop,
        words.clock(stop.start_us, room.zone, chosen.asked.now_us),
        wanted.counted_us(stop),
        told.get(stop.reason_by, ""),
        f"/machines/{machine.id}?{urlencode(_around(room, stop, chosen.asked.now_us))}",
    )


def _around(room: Room, stop: Stop, now_us: int) -> dict[str, str]:
    """A stop with some time on either side."""
    room_us = max(_AROUND_US, (stop.end_us - stop.start_us) // 2)
    start_us, end_us = stop.start_us - room_us, min(stop.end_us + room_us, now_us)
    return {"from": show(start_us, room.zone), "to": show(max(end_us, start_us + 1), room.zone)}


def install(app: FastAPI) -> None:
    """Serve this list of ``app``, as a page and as a table."""

    def asked(request: Request, room: Room) -> tuple[Chosen, Wanted]:
        told = {name: value.strip() for name, value in request.query_params.items() if value.strip()}
        chosen = of_its_shift(choose(request, room, DAY, KEPT))
        if not is_fine(chosen):
            raise wrong(
                "from", N_("the span is longer than 45 days"), N_("a span of at most 45 days for single stops")
            )
        return chosen, Wanted.of(told)

    @app.get(STOPS_PATH, include_in_schema=False)
    def stops_page(request: Request, room: InRoom) -> Response:
        chosen, wanted = asked(request, room)
        table = f"{STOPS_PATH}.csv?{urlsplit(chosen.address(**chosen.moments, span=None, at=None)).query}"
        return pages_of(app).answer(
            "production_stops.html",
            chosen=chosen,
            wanted=wanted,
            view=stops_view(chosen, wanted, page_number(request.query_params)),
            table=table,
            all_conditions=NOT_PRODUCING,
            lengths=(LONG, SHORT),
            amounts=amounts,
            state=state_of(chosen.address(), *KEPT),
            back=replace(chosen, path=PATH, more=()).address(),
        )

    @app.get(f"{STOPS_PATH}.csv", include_in_schema=False)
    def stops_table(request: Request, room: InRoom) -> Response:
        chosen, wanted = asked(request, room)
        work = Assembly(room, chosen.asked.interval, chosen.asked.now_us)
        found = [stop_row(room, s) for _, s in stops_of(work, chosen) if wanted.fits(s)]
        return csv_answer(StopRow, found, {})
