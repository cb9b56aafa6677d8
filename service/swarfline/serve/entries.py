"""What people enter: the shapes that all kinds share, how they are stored, and undoing them."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from http import HTTPStatus
from typing import Annotated, Any

from fastapi import APIRouter, Path
from pydantic import BaseModel, ConfigDict, Field, StringConstraints, field_validator
from pydantic_core import PydanticCustomError

from swarfline.calendar import Interval
from swarfline.entries import LONGEST_US, Entry, Judgement, Said, Target, Undone
from swarfline.sentence import N_, Sentence
from swarfline.serve.assemble import Assembly
from swarfline.serve.problems import WRITING, RefusedError, missing, unwritable, wrong
from swarfline.serve.room import InRoom, Room
from swarfline.serve.shapes import Shape
from swarfline.serve.signing import may, who
from swarfline.serve.times import parse, show
from swarfline.store import Entering, StoreError
from swarfline.users import ENGINEER

router = APIRouter(tags=["entries"])

_PRINTABLE = r"^[^\x00-\x1f\x7f]*$"


def _line(most: int, least: int = 0) -> Any:
    return StringConstraints(strip_whitespace=True, min_length=least, max_length=most, pattern=_PRINTABLE)


Reason = Annotated[str, _line(200, 1)]
PartName = Annotated[str, _line(200)]
Time = Annotated[str, _line(40, 1)]
NoteText = _line(1000, 1)


class Body(BaseModel):
    """What every entry says: who, and why if they like."""

    model_config = ConfigDict(extra="forbid")
    who: Annotated[str, _line(80)] = Field(
        default="",
        validate_default=True,
        description="name of the person; where users sign in it is theirs, and may be left out",
    )
    note: Annotated[str, _line(1000)] = Field(default="", description="what else there is to say")

    @field_validator("who")
    @classmethod
    def _signed_in(cls, told: str) -> str:
        try:
            return who(told)
        except ValueError as problem:
            raise PydanticCustomError("who", "{problem}", {"problem": str(problem)}) from None


class SpanBody(Body):
    """What may be about a span."""

    from_: Time | None = Field(default=None, alias="from", description="start of a span of at most 31 days")
    to: Time | None = Field(default=None, description="its end, not included")


class Undoing(Body):
    """Takes an entry back."""


class EntryShape(Shape):
    """What every entry tells. Entries are never altered or deleted, only undone."""

    number: int = Field(description="counts entries of all kinds, in the order of entering")
    machine: str
    from_: str = Field(alias="from")
    to: str
    who: str
    note: str
    entered: str = Field(description="by the service's clock")
    undone: str | None = Field(description="when it was undone; null: it was not")
    undone_by: str | None
    undone_note: str | None


class UndoneEntry(EntryShape):
    """An entry that was just undone."""


def entry_fields(room: Room, entry: Entry) -> dict[str, Any]:
    """The members of EntryShape."""
    undone = entry.undone
    return {
        "number": entry.number,
        "machine": entry.machine,
        "from": show(entry.start_us, room.zone),
        "to": show(entry.end_us, room.zone),
        "who": entry.who,
        "note": entry.note,
        "entered": show(entry.entered_us, room.zone),
        "undone": None if undone is None else show(undone.at_us, room.zone),
        "undone_by": None if undone is None else undone.who,
        "undone_note": None if undone is None else undone.note,
    }


@contextmanager
def entering(room: Room) -> Iterator[Entering]:
    """One small transaction; ends the request with 503 when the database cannot be written."""
    try:
        with room.store.entering() as door:
            yield door
    except StoreError as problem:
        raise unwritable(problem) from None


def entries_of(room: Room, span: Interval, kind: type[Said], machine: str | None, cell: str | None) -> list[Entry]:
    """Entries of one kind about the span, undone ones too, by the time that they are about."""
    chosen = [m.id for m in room.machines(machine, cell)]
    entries = [e for m in chosen for e in room.queries.entries(kind, m, *span)]
    return sorted(entries, key=lambda e: (e.start_us, e.number))


AHEAD = N_("lies ahead of the plant's present")


def moment_of(name: str, text: str, now_us: int, ahead: str = AHEAD) -> int:
    """A time of the past, µs UTC; ends the request with 422 for anything else. ``ahead`` says why not later."""
    try:
        at_us = parse(text)
    except ValueError as problem:
        raise wrong(name, str(problem), N_("an RFC 3339 time with an offset")) from None
    if at_us >= now_us:
        raise wrong(name, ahead, N_("a time that has passed"))
    return at_us


def span_of(start: str | None, end: str | None, other: str, now_us: int, ahead: str = AHEAD) -> Interval:
    """A span of the past, up to the present; ``other`` may be given in place of it. 422 where it is none."""
    if start is None or end is None:
        raise wrong(
            "from" if start is None else "to",
            N_("is missing"),
            Sentence(N_("'from' and 'to', or {other} alone"), {"other": repr(other)}),
        )
    start_us = moment_of("from", start, now_us, ahead)
    try:
        end_us = min(parse(end), now_us)
    except ValueError as problem:
        raise wrong("to", str(problem), N_("an RFC 3339 time with an offset")) from None
    if end_us <= start_us:
        raise wrong("to", N_("lies at or before 'from'"), N_("a time after 'from'"))
    if end_us - start_us > LONGEST_US:
        raise too_long()
    return start_us, end_us


def too_long() -> RefusedError:
    """422 for a span that no entry may be about."""
    return wrong("from", N_("the span is longer than 31 days"), N_("a span of at most 31 days"))


Number = Annotated[int, Path(ge=1, le=2**62, description="number of an entry")]


@router.post("/entries/{number}/undo", response_model=UndoneEntry, responses=WRITING)
def undo_entry(number: Number, room: InRoom, body: Undoing) -> Any:
    """Undo an entry of any kind: it stays in the lists, and does not hold any more."""
    with entering(room) as door:
        entry = room.queries.entry(number)
        if entry is None:
            raise missing(N_("entry"), str(number), ["/stop-entries, /judgements, /notes and /targets list them"])
        room.machine(entry.machine)
        if entry.undone is not None:
            told = {"number": str(number), "who": entry.undone.who}
            raise RefusedError(
                HTTPStatus.CONFLICT, Sentence(N_("Entry {number} was undone by {who} already."), told)
            )
        if isinstance(entry.said, Target) and not may(ENGINEER):
            text = N_("Entry {number} is a target; undoing it needs the role engineer.")
            raise RefusedError(HTTPStatus.FORBIDDEN, Sentence(text, {"number": str(number)}))
        if isinstance(entry.said, Judgement):
            _check_later(room, entry)
        undone = door.undo(entry, Undone(body.who, room.clock_us(), body.note))
    return UndoneEntry(**entry_fields(room, undone))


def _check_later(room: Room, entry: Entry) -> None:
    """A later judgement of the same parts may count on this one: parts told to be good after all were scrap."""
    work = Assembly(room, (entry.start_us, entry.end_us), room.now_us())
    before = {a.entry.number: a.quantity for a in work.judgements(entry.machine)[1]}
    for applied in work.judgements_without(entry.machine, entry.number)[1]:
        if applied.quantity < before[applied.entry.number]:
            text = N_("Entry {later} counts on entry {number}; undo the later one first.")
            told = {"later": str(applied.entry.number), "number": str(entry.number)}
            raise RefusedError(HTTPStatus.CONFLICT, Sentence(text, told))
