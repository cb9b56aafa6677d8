"""/studies: two samples of cycles side by side, with what can be said of their difference."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Query
from pydantic import Field

from swarfline.calendar import Interval
from swarfline.facts import STEPS, Cycle
from swarfline.grounds import steps_known
from swarfline.measure.ruling import cautions, in_words
from swarfline.measure.study import RULINGS, Piece, Sample, Study
from swarfline.sentence import N_
from swarfline.serve.assemble import Assembly
from swarfline.serve.problems import wrong
from swarfline.serve.reply import Replying
from swarfline.serve.room import InRoom, Room
from swarfline.serve.selection import CellName, MachineName
from swarfline.serve.shapes import Figures, Shape, percent
from swarfline.serve.spans import Asked, AskedSpan, resolve
from swarfline.serve.table import OPENAPI
from swarfline.serve.times import parse, show

router = APIRouter(tags=["figures"])


class SampleShape(Shape):
    """One side of a study: its steady cycles, and how many others were left out."""

    machine: str
    programs: list[str] = Field(description="main programs of its cycles")
    part: str
    from_: str = Field(alias="from")
    to: str
    coverage_pct: float | None = Field(description="observed share of the planned time")
    count: int = Field(description="steady cycles: complete, without holds, wholly in sight")
    held: int
    unobserved: int = Field(description="complete, without holds, but partly out of sight")
    aborted: int
    partial: int
    running: int
    mean_s: float | None
    median_s: float | None
    deviation_s: float | None
    per_part_s: float | None = Field(description="cycle time per part")
    autocorrelation: float | None = Field(description="tie to the cycle before, -1 to 1")
    effective_cycles: float = Field(description="independent cycles that tell as much of the mean")


class PieceShape(Shape):
    """Seconds per cycle in one step, or with one tool in the spindle."""

    kind: Literal["step", "tool"]
    name: str
    first_mean_s: float
    second_mean_s: float
    difference_s: float
    low_s: float | None = Field(description="ends of the 95 % interval of the difference")
    high_s: float | None


class StudyRow(Shape):
    """One study, second against first: negative differences are faster; null where too few cycles tell."""

    ruling: str = Field(description=f"one of: {', '.join(RULINGS)}")
    words: str = Field(description="the ruling in a sentence")
    cautions: list[str]
    first: SampleShape
    second: SampleShape
    mean_difference_s: float | None
    mean_low_s: float | None = Field(description="ends of the 95 % interval of the difference of the means")
    mean_high_s: float | None
    mean_p: float | None = Field(description="two-sided, by Welch's t")
    shift_s: float | None = Field(description="median of all differences")
    shift_low_s: float | None
    shift_high_s: float | None
    rank_p: float | None = Field(description="two-sided, by Mann and Whitney's U")
    rank_exact: bool | None = Field(description="false: by the normal approximation")
    second_faster_pct: float | None = Field(description="share of pairs in which the second is faster")
    pieces: list[PieceShape] = Field(description="steps, then tools, those that changed most first")


@dataclass(frozen=True, slots=True)
class Side:
    """What one sample is taken from: the cycles that lie wholly inside ``span``, of one program or of all."""

    machine: str
    span: Interval
    program: str | None = None


@dataclass(frozen=True, slots=True)
class Wish:
    """What is to be compared with what, as the parameters say; times are RFC 3339."""

    at: str | None = None
    first_from: str | None = None
    first_to: str | None = None
    with_machine: str | None = None
    program: str | None = None
    with_program: str | None = None
    part: str | None = None

    @property
    def same_span(self) -> bool:
        """Whether both samples are of one span unless told otherwise."""
        return self.with_machine is not None or self.with_program is not None

    def check(self, machines: int) -> None:
        """End the request with 422 where the parameters do not go together, of so many machines."""
        if self.with_machine is not None and machines != 1:
            raise wrong("with_machine", N_("needs one machine to be compared with"), N_("beside 'machine'"))
        if self.with_program is not None and self.program is None:
            raise wrong("with_program", N_("needs one program to be compared with"), N_("beside 'program'"))
        if (self.first_from is None) != (self.first_to is None):
            raise wrong("first_from", N_("stands together with 'first_to'"), N_("both, or none"))
        if self.at is not None and self.first_from is not None:
            raise wrong(
                "at", N_("splits the span; it cannot stand beside first_from and first_to"), N_("one of the two")
            )


@dataclass(frozen=True, slots=True)
class Compared:
    """A study, where its samples come from, and all of the cycles that were looked at; first and second."""

    works: tuple[Assembly, Assembly]
    sides: tuple[Side, Side]
    cycles: tuple[Sequence[Cycle], Sequence[Cycle]]
    study: Study


Moment = Annotated[str | None, Query(description="splits the span into before and after: an RFC 3339 time")]
FirstFrom = Annotated[str | None, Query(description="start of the first sample, where it has its own span")]
FirstTo = Annotated[str | None, Query(description="end of the first sample, where it has its own span")]
WithMachine = Annotated[str | None, Query(description="compare `machine` with this one")]
WithProgram = Annotated[str | None, Query(description="compare `program` with this one")]


@router.get("/studies", response_model=Figures[StudyRow], responses=OPENAPI)
def list_studies(
    room: InRoom,
    asked: AskedSpan,
    reply: Replying,
    at: Moment = None,
    first_from: FirstFrom = None,
    first_to: FirstTo = None,
    machine: MachineName = None,
    with_machine: WithMachine = None,
    program: Annotated[str | None, Query(description="only this main program")] = None,
    with_program: WithProgram = None,
    part: Annotated[str | None, Query(description="only this part")] = None,
    cell: CellName = None,
) -> Any:
    """Studies of every machine, program and part: by default the span against as long a time right before it."""
    chosen = [m.id for m in room.machines(machine, cell)]
    wish = Wish(at, first_from, first_to, with_machine, program, with_program, part)
    wish.check(len(chosen))
    rows = [study_row(found) for one in chosen for found in compared(room, one, asked, wish)]
    work = Assembly(room, asked.interval, asked.now_us)
    other = [] if with_machine is None else [with_machine]
    return reply.figures(room, asked, work.coverage([*chosen, *other]), StudyRow, rows)


def compared(room: Room, machine: str, asked: Asked, wish: Wish) -> list[Compared]:
    """The studies of one machine that the parameters mean; 404 or 422 where they mean none."""
    spans = _spans(room, asked, wish)
    other = machine if wish.with_machine is None else room.machine(wish.with_machine).id
    first = Side(machine, spans[0], wish.program)
    second = Side(other, spans[1], wish.with_program or wish.program)
    return compare(room, first, second, asked.now_us, wish.part)


def _spans(room: Room, asked: Asked, wish: Wish) -> tuple[Interval, Interval]:
    """The spans of the two samples."""
    if wish.first_from is not None:
        return resolve(room, wish.first_from, wish.first_to, None, (), "day").interval, asked.interval
    if wish.at is not None:
        return _split(asked, wish.at)
    length = asked.end_us - asked.start_us
    return asked.interval if wish.same_span else (asked.start_us - length, asked.start_us), asked.interval


def _split(asked: Asked, at: str) -> tuple[Interval, Interval]:
    try:
        at_us = parse(at)
    except ValueError as problem:
        raise wrong("at", str(problem), N_("an RFC 3339 time with an offset")) from None
    if not asked.start_us < at_us < asked.end_us:
        raise wrong("at", N_("does not lie inside the span"), N_("a time after 'from' and before 'to'"))
    return (asked.start_us, at_us), (at_us, asked.end_us)


def compare(room: Room, first: Side, second: Side, now_us: int, part: str | None = None) -> list[Compared]:
    """Studies of two sides, one for each thing that both may have made.

    That is a program and part of one machine; a part where machines are compared, whose programs may be called
    otherwise; and all that is left where programs are compared.
    """
    sides = (first, second)
    works = (Assembly(room, first.span, now_us), Assembly(room, second.span, now_us))
    known = [_cycles(work, side, part) for work, side in zip(works, sides, strict=True)]
    key = _key(first, second)
    keys = dict.fromkeys(key(c) for cycles in reversed(known) for c in cycles)
    return [_compared(works, sides, [[c for c in cs if key(c) == k] for cs in known]) for k in keys]


def _key(first: Side, second: Side) -> Callable[[Cycle], tuple[str, ...]]:
    if first.program != second.program:
        return lambda _: ()
    if first.machine != second.machine:
        return lambda c: (c.part,)
    return lambda c: (c.program, c.part)


def _cycles(work: Assembly, side: Side, part: str | None) -> list[Cycle]:
    start, end = side.span
    whole = [c for c in work.cycles(side.machine) if start <= c.start_us and c.end_us <= end]
    return [c for c in whole if side.program in (None, c.program) and part in (None, c.part)]


def _compared(
    works: tuple[Assembly, Assembly], sides: tuple[Side, Side], cycles: Sequence[Sequence[Cycle]]
) -> Compared:
    room = works[0].room
    known = [steps_known(room.plant.nodes_of(room.machine(s.machine))) for s in sides]
    samples = [Sample.of(c) for c in cycles]
    study = Study(samples[0], samples[1], tuple(s for s in STEPS if all(s in k for k in known)))
    return Compared(works, sides, (cycles[0], cycles[1]), study)


def study_row(found: Compared) -> StudyRow:
    """A study as sent."""
    study = found.study
    samples = (study.first, study.second)
    shapes = [_sample(*each) for each in zip(found.works, found.sides, samples, found.cycles, strict=True)]
    means, ranks = study.means, study.ranks
    mean_low, mean_high = means.interval if means else (None, None)
    shift_low, shift_high = study.shift_interval_s or (None, None)
    return StudyRow(
        ruling=study.ruling,
        words=in_words(study),
        cautions=cautions(study),
        first=shapes[0],
        second=shapes[1],
        mean_difference_s=means.difference if means else None,
        mean_low_s=mean_low,
        mean_high_s=mean_high,
        mean_p=means.p if means else None,
        shift_s=study.shift_s,
        shift_low_s=shift_low,
        shift_high_s=shift_high,
        rank_p=ranks.p if ranks else None,
        rank_exact=ranks.exact if ranks else None,
        second_faster_pct=percent(ranks.second_is_less) if ranks else None,
        pieces=[_piece(p) for p in study.pieces],
    )


def _sample(work: Assembly, side: Side, sample: Sample, cycles: Sequence[Cycle]) -> SampleShape:
    zone = work.room.zone
    return SampleShape(
        **{"from": show(side.span[0], zone), "to": show(side.span[1], zone)},
        machine=side.machine,
        programs=sorted({c.program for c in cycles}),
        part=", ".join(sorted({c.part for c in cycles})),
        coverage_pct=percent(work.coverage([side.machine])),
        count=sample.count,
        held=sample.held,
        unobserved=sample.unobserved,
        aborted=sample.aborted,
        partial=sample.partial,
        running=sample.running,
        mean_s=sample.mean_s,
        median_s=sample.median_s,
        deviation_s=sample.deviation_s,
        per_part_s=sample.per_part_s,
        autocorrelation=sample.autocorrelation,
        effective_cycles=sample.effective,
    )


def _piece(piece: Piece) -> PieceShape:
    low, high = piece.change.interval if piece.change else (None, None)
    return PieceShape(
        kind="step" if piece.kind == "step" else "tool",
        name=piece.name,
        first_mean_s=piece.first_mean_s,
        second_mean_s=piece.second_mean_s,
        difference_s=piece.second_mean_s - piece.first_mean_s,
        low_s=low,
        high_s=high,
    )
