"""The page of studies: two samples of cycles side by side, as a sheet to print and sign."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from fastapi import APIRouter, Request
from starlette.responses import Response

from swarfline.measure.ruling import sentence, warnings
from swarfline.measure.study import Sample, Study
from swarfline.sentence import N_, Sentence
from swarfline.serve.page import cycle_words, plots, words
from swarfline.serve.page.choosing import moment
from swarfline.serve.page.cycles import DAY_US, DAYS, LONGEST_US
from swarfline.serve.page.pages import pages_of
from swarfline.serve.page.plots import Beam, Histogram
from swarfline.serve.problems import wrong
from swarfline.serve.room import InRoom, Room
from swarfline.serve.spans import Asked, resolve
from swarfline.serve.studies import Compared, PieceShape, SampleShape, StudyRow, Wish, compared, study_row
from swarfline.serve.times import parse, show
from swarfline.serve.tongue import gettext as _

router = APIRouter()

MOMENT, SPANS, MACHINES, PROGRAMS = "moment", "spans", "machines", "programs"
KINDS = (MOMENT, SPANS, MACHINES, PROGRAMS)
TIMES = ("from", "to", "at", "first_from", "first_to")
_OF_KIND = {
    MOMENT: ("at",),
    SPANS: ("first_from", "first_to"),
    MACHINES: ("with_machine",),
    PROGRAMS: ("with_program",),
}
"""Fields that only one kind of study asks for."""


def kind_words(kind: str) -> str:
    """A kind of study in words."""
    return {
        MOMENT: _("before and after a time"),
        SPANS: _("two spans of time"),
        MACHINES: _("two machines"),
        PROGRAMS: _("two programs"),
    }[kind]


@dataclass(frozen=True, slots=True)
class PieceLine:
    """A step or tool in both samples, and the difference as a bar."""

    name: str
    piece: PieceShape
    beam: Beam


@dataclass(frozen=True, slots=True)
class SideBlock:
    """One sample as the sheet shows it."""

    name: str
    row: SampleShape
    start: str
    end: str
    lots: str
    left_out: int
    histogram: Histogram | None


@dataclass(frozen=True, slots=True)
class Sheet:
    """One study, ready to be shown."""

    title: str
    ruling: str
    cautions: list[str]
    row: StudyRow
    sides: tuple[SideBlock, SideBlock]
    steps: list[PieceLine]
    tools: list[PieceLine]


@router.get("/studies")
def studies_page(request: Request, room: InRoom) -> Response:
    """The form, and the studies that its address asks for."""
    told = {name: value.strip() for name, value in request.query_params.items() if value.strip()}
    kind = _kind(told)
    asked = _asked(room, told)
    sheets = _sheets(room, told, kind, asked) if _enough(told, kind) else None
    return pages_of(request.app).answer(
        "studies.html",
        cycle_words=cycle_words,
        plots=plots,
        kinds=[(name, kind_words(name)) for name in KINDS],
        kind=kind,
        fields=_fields(room, told, asked),
        room=room,
        programs=sorted({program for part in room.plant.parts for program in part.programs}),
        sheets=sheets,
        made_at=words.moment(room.now_us(), room.zone),
    )


def _kind(told: Mapping[str, str]) -> str:
    fitting = [kind for kind, names in _OF_KIND.items() if any(name in told for name in names)]
    kind = told.get("kind") or (fitting[0] if fitting else MOMENT)
    if kind not in KINDS:
        raise wrong(
            "kind", Sentence(N_("{value} is no kind of study"), {"value": repr(kind[:40])}), ", ".join(KINDS)
        )
    return kind


def _enough(told: Mapping[str, str], kind: str) -> bool:
    """Whether the fields that a kind cannot do without are filled in."""
    needed = {
        MOMENT: ("at",),
        SPANS: ("first_from",),
        MACHINES: ("with_machine",),
        PROGRAMS: ("program", "with_program"),
    }
    return all(name in told for name in ("machine", *needed[kind]))


def _asked(room: Room, told: Mapping[str, str]) -> Asked:
    """The span, of the second sample where each has its own: the last seven days unless told."""
    now_us = room.now_us()
    start = moment("from", told["from"], room) if "from" in told else now_us - DAYS * DAY_US
    end = moment("to", told["to"], room) if "to" in told else now_us
    found = resolve(room, show(start, room.zone), show(end, room.zone), None, (), "day")
    if found.end_us - found.start_us > LONGEST_US:
        raise wrong("from", N_("the span is longer than 62 days"), N_("a span of at most 62 days"))
    return found


def _fields(room: Room, told: Mapping[str, str], asked: Asked) -> dict[str, str]:
    """What the form shows: what was told, times as HTML's date fields take them.

    What parts the samples is left empty, so that nothing is judged that nobody asked about.
    """

    def field(us: int) -> str:
        return show(us, room.zone)[:16]

    usual = {"from": field(asked.start_us), "to": field(asked.end_us), "at": "", "first_from": "", "first_to": ""}
    names = ("machine", "with_machine", "program", "with_program", "part")
    kept = {name: field(moment(name, told[name], room)) for name in TIMES if name in told}
    return usual | dict.fromkeys(names, "") | {name: told[name] for name in names if name in told} | kept


def wish_of(room: Room, told: Mapping[str, str], kind: str) -> Wish:
    """The parameters as the API takes them; those of other kinds of study are passed over."""
    foreign = {name for other, names in _OF_KIND.items() if other != kind for name in names}
    names = ("at", "first_from", "first_to", "with_machine", "program", "with_program", "part")
    own = {name: told[name] for name in names if name in told and name not in foreign}
    times = {name: show(moment(name, own[name], room), room.zone) for name in TIMES if name in own}
    return Wish(**(own | times))


def _sheets(room: Room, told: Mapping[str, str], kind: str, asked: Asked) -> list[Sheet]:
    wish = wish_of(room, told, kind)
    wish.check(1)
    machine = room.machine(told["machine"]).id
    return [_sheet(room, found) for found in compared(room, machine, asked, wish)]


def _sheet(room: Room, found: Compared) -> Sheet:
    study, row = found.study, study_row(found)
    pieces = _piece_lines(row)
    return Sheet(
        _title(row),
        words.say(sentence(study)),
        [words.say(one) for one in warnings(study)],
        row,
        _sides(room, found, row, study),
        [line for line in pieces if line.piece.kind == "step"],
        [line for line in pieces if line.piece.kind == "tool"],
    )


def _title(row: StudyRow) -> str:
    parts = dict.fromkeys(p for p in (row.first.part, row.second.part) if p)
    machines = dict.fromkeys((row.first.machine, row.second.machine))
    return _("%(part)s on %(machines)s") % {
        "part": ", ".join(parts) or _("part not known"),
        "machines": ", ".join(machines),
    }


def _piece_lines(row: StudyRow) -> list[PieceLine]:
    beams = plots.beams([(p.difference_s, p.low_s, p.high_s) for p in row.pieces])
    return [
        PieceLine(cycle_words.piece(p.kind, p.name), p, beam) for p, beam in zip(row.pieces, beams, strict=True)
    ]


def _sides(room: Room, found: Compared, row: StudyRow, study: Study) -> tuple[SideBlock, SideBlock]:
    bins = plots.frame([study.first.values_s, study.second.values_s])
    blocks = [
        _side(room, name, shape, sample, plots.histogram(sample.values_s, bins) if bins and sample.count else None)
        for name, shape, sample in zip(
            _side_names(row), (row.first, row.second), (study.first, study.second), strict=True
        )
    ]
    return blocks[0], blocks[1]


def _side_names(row: StudyRow) -> tuple[str, str]:
    """What the samples are called; as the ruling says first and second, that stands beside before and after."""
    if parse(row.first.to) <= parse(row.second.from_):
        return _("Before (first)"), _("After (second)")
    return _("First"), _("Second")


def _side(room: Room, name: str, row: SampleShape, sample: Sample, spread: Histogram | None) -> SideBlock:
    start, end = (words.moment(parse(edge), room.zone) for edge in (row.from_, row.to))
    lots = list(dict.fromkeys(c.lot for c in sample.cycles if c.lot))
    told = ", ".join(lots[:4]) + (_(" and %s more") % words.number(len(lots) - 4) if len(lots) > 4 else "")
    return SideBlock(name, row, start, end, told or words.UNKNOWN, sample.left_out, spread)
