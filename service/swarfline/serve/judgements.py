"""Parts judged later: /machines/{id}/judgements takes them, /judgements lists them with what they changed."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import APIRouter
from pydantic import Field

from swarfline.calendar import Interval
from swarfline.entries import Entry, Judgement
from swarfline.facts import TOTAL
from swarfline.measure.judgements import Applied, free, since
from swarfline.measure.production import Quantities
from swarfline.sentence import N_, Sentence, Value
from swarfline.serve.assemble import Assembly
from swarfline.serve.entries import (
    EntryShape,
    PartName,
    SpanBody,
    Time,
    entering,
    entries_of,
    entry_fields,
    moment_of,
    span_of,
)
from swarfline.serve.paging import Paged, page_of
from swarfline.serve.problems import WRITING, RefusedError, wrong
from swarfline.serve.reply import Replying
from swarfline.serve.room import InRoom, OneMachine, Room
from swarfline.serve.selection import CellName, MachineName
from swarfline.serve.shapes import Facts, Shape
from swarfline.serve.spans import AskedSpan, latest_shift
from swarfline.serve.table import OPENAPI
from swarfline.serve.times import show

router = APIRouter(tags=["entries"])

_TOO_MANY = {
    "scrap": N_(
        "of {total} {part} made {where} {there} are not scrap yet; {quantity} cannot become scrap{earlier}"
    ),
    "rework": N_(
        "of {total} {part} made {where} {there} are not rework yet; {quantity} cannot become rework{earlier}"
    ),
    "good": N_("of {total} {part} made {where} {there} are scrap; {quantity} cannot become good{earlier}"),
}
_THERE = Sentence(N_("there"))
_SINCE = N_("in the shift or day since {start}")
_EARLIER = N_("; for parts made before it, tell the time when the last of them was made")

Kind = Literal["scrap", "rework", "good"]


class JudgementBody(SpanBody):
    """Parts judged later: those of a span, spread evenly over it, or the last ones made by a time."""

    time: Time | None = Field(
        default=None,
        description="the last such parts made by then in its shift; where no shifts are planned, its day",
    )
    part: PartName | None = Field(default=None, description="may be left out where only one part was made")
    kind: Kind = Field(description="good: parts that were told as scrap are good after all")
    quantity: Annotated[int, Field(strict=True, ge=1, le=1_000_000, description="number of parts")]


class PartsShape(Shape):
    """Parts of one part number in the span of an entry."""

    produced: int
    good: int
    scrap: int
    unjudged: int
    rework: int


class JudgementRow(EntryShape):
    """One judgement, and the parts of its span before and after it."""

    part: str
    kind: Kind
    quantity: int
    applied: int | None = Field(description="less than quantity where facts worked out anew hold fewer such parts")
    before: PartsShape | None = Field(description="null: undone")
    after: PartsShape | None


@router.post("/machines/{machine_id}/judgements", status_code=201, response_model=JudgementRow, responses=WRITING)
def judge(machine: OneMachine, room: InRoom, body: JudgementBody) -> Any:
    """Judge parts that were made: scrap, in need of rework, or good after all. Refused for more than there are."""
    with entering(room) as door:
        # no other entry can come between this check and what it allows
        said, span = _said(room, machine.id, body)
        entry = door.add(Entry(machine.id, *span, said, body.who, room.clock_us(), body.note))
    return _row(room, entry, Assembly(room, span, room.now_us()))


def _said(room: Room, machine: str, body: JudgementBody) -> tuple[Judgement, Interval]:
    now_us = room.now_us()
    look, where = _look(room, machine, body, now_us)
    work = Assembly(room, look, now_us)
    said = Judgement(_part(work, machine, body, where), body.kind, body.quantity)
    made = work.production(machine, look, said.part).by_part.get(said.part, Quantities())
    start_us: int | None = look[0]
    if body.time is not None:
        start_us = since(work.counts(machine), _inside(work, machine, look), said)
    if start_us is None or free(made, said.judged) < said.quantity:
        raise _too_many(said, made, where)
    return said, (start_us, look[1])


def _look(room: Room, machine: str, body: JudgementBody, now_us: int) -> tuple[Interval, Sentence]:
    """Where the parts are looked for, and that in words."""
    if body.time is None:
        return span_of(body.from_, body.to, "time", now_us), _THERE
    if body.from_ is not None or body.to is not None:
        raise wrong("time", N_("cannot stand beside 'from' or 'to'"), N_("one of the two"))
    at_us = moment_of("time", body.time, now_us)
    start_us = _shift_start(room, machine, at_us)
    return (start_us, at_us + 1), Sentence(_SINCE, {"start": show(start_us, room.zone)[:16].replace("T", " ")})


def _shift_start(room: Room, machine: str, at_us: int) -> int:
    """Start of the shift of the parts made last by then; of the day where no shifts are planned.

    At the moment of a change of shifts that is the one that ends.
    """
    shift = latest_shift(room, [machine], at_us - 1)
    return shift.start_us if shift is not None else room.calendar.day_span(room.calendar.day_of(at_us - 1))[0]


def _inside(work: Assembly, machine: str, look: Interval) -> list[Any]:
    return [c for c in work.judgements(machine)[0] if look[0] <= c.time_us < look[1]]


def _part(work: Assembly, machine: str, body: JudgementBody, where: Sentence) -> str:
    """The part that is meant; 422 where none of it was made, or it is not told and there were several."""
    made = [c.part for c in work.counts(machine) if c.count_kind == TOTAL]
    known = ", ".join(repr(part) for part in sorted(set(made))) or N_("nothing was made there")
    if body.part is not None:
        if body.part not in made:
            told: dict[str, Value] = {"part": repr(body.part), "where": where}
            raise wrong("part", Sentence(N_("no {part} was made {where}"), told), known)
        return body.part
    if made and (body.time is not None or len(set(made)) == 1):
        return made[-1]
    if not made:
        raise wrong("part", Sentence(N_("nothing was made {where}{earlier}"), _places(where)), known)
    raise wrong("part", N_("must be told, for not just one was made there"), known)


def _places(where: Sentence) -> dict[str, Value]:
    """Where parts were looked for, and how to name others where that was the shift of a time."""
    return {"where": where, "earlier": "" if where is _THERE else Sentence(_EARLIER)}


def _too_many(said: Judgement, made: Quantities, where: Sentence) -> RefusedError:
    there = max(0, free(made, said.judged))
    told: dict[str, Value] = {"total": made.total, "part": said.part, "there": there, "quantity": said.quantity}
    allowed = Sentence(N_("1 to {there}"), {"there": there}) if there else N_("none")
    return wrong("quantity", Sentence(_TOO_MANY[said.judged], {**told, **_places(where)}), allowed)


@router.get("/judgements", response_model=Facts[JudgementRow], responses=OPENAPI)
def list_judgements(
    room: InRoom,
    asked: AskedSpan,
    window: Paged,
    reply: Replying,
    machine: MachineName = None,
    cell: CellName = None,
) -> Any:
    """Judgements of parts made in the span, undone ones too, by the time that they are about."""
    work = Assembly(room, asked.interval, asked.now_us)
    known = entries_of(room, asked.interval, Judgement, machine, cell)
    found, last = window.take(lambda n, after: page_of(known, n, after))
    return reply.facts(room, asked, window, JudgementRow, [_row(room, e, work) for e in found], last)


def _row(room: Room, entry: Entry, work: Assembly) -> JudgementRow:
    assert isinstance(entry.said, Judgement)
    applied = next((a for a in work.judgements(entry.machine)[1] if a.entry.number == entry.number), None)
    return JudgementRow(
        **entry_fields(room, entry),
        part=entry.said.part,
        kind=entry.said.judged,  # type: ignore[arg-type]
        quantity=entry.said.quantity,
        **_changed(applied),
    )


def _changed(applied: Applied | None) -> dict[str, Any]:
    if applied is None:
        return {"applied": None, "before": None, "after": None}
    return {"applied": applied.quantity, "before": _parts(applied.before), "after": _parts(applied.after)}


def _parts(made: Quantities) -> PartsShape:
    return PartsShape(
        produced=made.total, good=made.good, scrap=made.scrap, unjudged=made.unjudged, rework=made.rework
    )
