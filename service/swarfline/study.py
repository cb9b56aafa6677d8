"""Studies and run-offs for the command line: the rows of the API, as text to print and hand over.

Lines are at most 80 columns wide.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from textwrap import wrap
from zoneinfo import ZoneInfo

from swarfline import clock
from swarfline.calendar import Interval
from swarfline.live import Live
from swarfline.measure.runoff import TARGET
from swarfline.plant import Plant
from swarfline.serve.problems import RefusedError
from swarfline.serve.room import Room
from swarfline.serve.runoffs import LOOK_BACK_US, RunOffRow, find_run_off, newest_made, run_off_row
from swarfline.serve.spans import NAMES, named
from swarfline.serve.studies import PieceShape, SampleShape, Side, StudyRow, compare, study_row
from swarfline.serve.times import parse, parse_day
from swarfline.store import Store

WIDTH = 80
SPAN = f"a day YYYY-MM-DD, FROM/TO with days or RFC 3339 times, or one of: {', '.join(NAMES)}"


class Unusable(Exception):
    """What was asked for cannot be answered; the text says why."""


@dataclass(frozen=True, slots=True)
class Question:
    """What was asked for on the command line, as it was written; spans as ``span_of`` reads them."""

    machine: str
    with_machine: str | None = None
    program: str | None = None
    with_program: str | None = None
    part: str | None = None
    before: str | None = None
    after: str | None = None
    span: str | None = None
    run_off: int | None = None
    limit_s: float | None = None
    target: float = TARGET

    @property
    def other(self) -> str:
        """The machine of the second sample."""
        return self.with_machine or self.machine

    @property
    def mistake(self) -> str:
        """Why these words mean nothing together; empty where they do."""
        if self.span and (self.before or self.after):
            return "--span is one span for all; it cannot stand beside --before or --after."
        if self.run_off is not None:
            second = self.before or self.after or self.with_machine or self.with_program
            return "--run-off judges one machine in one --span; there is no second sample." if second else ""
        return self._mistake_of_two()

    def _mistake_of_two(self) -> str:
        if self.with_program and not self.program:
            return "--with-program needs --program to be compared with."
        if not self.span and not (self.before and self.after):
            return "Give --before and --after, or --span with a second machine or program, or --run-off."
        if self.span and self.other == self.machine and self.with_program in (None, self.program):
            return "--span alone compares nothing: add --with-machine, --with-program or --run-off."
        return ""


def room_of(plant: Plant, store: Store) -> Room:
    """What studies are made in."""
    return Room.of(plant, store, Live(), clock.now_us)


def span_of(room: Room, machine: str, text: str) -> Interval:
    """The span that a text means, up to the plant's present; raises Unusable."""
    now_us = room.now_us()
    try:
        start, end = _bounds(room, machine, text, now_us)
    except RefusedError as problem:
        raise Unusable(str(problem)) from None
    except ValueError as problem:
        raise Unusable(f"{text!r} is no span ({problem}); write {SPAN}") from None
    if not start < min(end, now_us):
        raise Unusable(f"{text!r}: the span has no length, or lies ahead of the plant's present")
    return start, min(end, now_us)


def _bounds(room: Room, machine: str, text: str, now_us: int) -> Interval:
    if text in NAMES:
        return named(room, text, [machine], now_us).interval
    start, slash, end = text.partition("/")
    if not slash:
        return room.calendar.day_span(parse_day(text))
    return _edge(room, start), _edge(room, end)


def _edge(room: Room, text: str) -> int:
    return parse(text) if "T" in text.upper() else room.calendar.day_span(parse_day(text))[0]


def answer(room: Room, asked: Question) -> list[StudyRow] | list[RunOffRow]:
    """The studies, or the run-off, that were asked for; raises Unusable where there is no cycle at all."""
    if asked.run_off is not None:
        return [_judge(room, asked, asked.run_off)]
    before = span_of(room, asked.machine, asked.before or asked.span or "")
    after = span_of(room, asked.other, asked.after) if asked.after else before
    first = Side(asked.machine, before, asked.program)
    second = Side(asked.other, after, asked.with_program or asked.program)
    rows = [study_row(found) for found in compare(room, first, second, room.now_us(), asked.part)]
    if not rows:
        raise Unusable("there is no such cycle in either span")
    return rows


def _judge(room: Room, asked: Question, number: int) -> RunOffRow:
    machine, now_us = asked.machine, room.now_us()
    span = span_of(room, machine, asked.span) if asked.span else (now_us - LOOK_BACK_US, now_us)
    made = newest_made(room, machine, span, asked.program, asked.part)
    if made is None:
        raise Unusable(f"there is no such cycle of {machine} in the span")
    found = find_run_off(room, machine, span, made, number, asked.limit_s, asked.target)
    return run_off_row(room, machine, made, found, now_us)


def as_json_text(rows: Sequence[StudyRow | RunOffRow], zone: ZoneInfo) -> str:
    """The rows as the API sends them."""
    items = [row.model_dump(mode="json", by_alias=True) for row in rows]
    return json.dumps({"time_zone": str(zone), "items": items})


def as_text(rows: Sequence[StudyRow | RunOffRow], zone: ZoneInfo) -> str:
    """The rows for people."""
    told = (_study(row, zone) if isinstance(row, StudyRow) else _run_off(row, zone) for row in rows)
    return "\n\n\n".join("\n".join(lines) for lines in told)


def _study(row: StudyRow, zone: ZoneInfo) -> Iterator[str]:
    for name, sample in (("first", row.first), ("second", row.second)):
        programs = ", ".join(sample.programs) or "none"
        yield from _wrapped(f"{name:8}{sample.machine}, part {sample.part or 'none'}, program {programs}", 8)
        yield f"{'':8}{sample.from_} to {sample.to}"
        yield f"{'':8}coverage {_share(sample.coverage_pct)} of the planned time"
    yield from _wrapped(f"Times in {zone}; s per cycle; intervals 95 %; second against first.")
    yield ""
    yield f"{'':22}{'first':>11}{'second':>11}{'difference':>12}   interval"
    yield _line("steady cycles", row.first.count, row.second.count)
    if (row.first.count, row.second.count) != (row.first.effective_cycles, row.second.effective_cycles):
        yield _line("that count as", round(row.first.effective_cycles), round(row.second.effective_cycles))
    for outcome in ("held", "unobserved", "aborted", "partial", "running"):
        counts = getattr(row.first, outcome), getattr(row.second, outcome)
        if any(counts):
            yield _line(f"left out: {outcome}", *counts)
    yield from _levels(row)
    yield from map(_piece, row.pieces)
    yield ""
    yield from _said(row.words, row.cautions)


def _levels(row: StudyRow) -> Iterator[str]:
    first, second = row.first, row.second
    means = row.mean_difference_s, row.mean_low_s, row.mean_high_s
    yield _times("mean", first.mean_s, second.mean_s, *means)
    yield _times("median, shift", first.median_s, second.median_s, row.shift_s, row.shift_low_s, row.shift_high_s)
    yield _times("standard deviation", first.deviation_s, second.deviation_s)
    if _per_part(first) or _per_part(second):
        yield _times("mean per part", first.per_part_s, second.per_part_s)
    yield f"{'second is faster':22}{'':11}{_share(row.second_faster_pct):>11}   of all pairs of cycles"


def _per_part(sample: SampleShape) -> bool:
    """Whether the time per part says more than the cycle time."""
    return sample.per_part_s is not None and sample.per_part_s != sample.mean_s


def _piece(piece: PieceShape) -> str:
    ends = piece.low_s, piece.high_s
    name = f"{piece.kind} {piece.name}"
    return _times(name, piece.first_mean_s, piece.second_mean_s, piece.difference_s, *ends)


def _run_off(row: RunOffRow, zone: ZoneInfo) -> Iterator[str]:
    yield from _wrapped(f"Run-off of {row.machine}, part {row.part or 'none'}, program {row.program}")
    if row.from_ is not None:
        yield f"{row.from_} to {row.to}"
    yield from _wrapped(
        f"Times in {zone}; intervals 95 %; coverage {_share(row.coverage_pct)} of the planned time."
    )
    yield ""
    yield f"{'steady cycles':24}{row.count:>10} of {row.asked} asked for"
    yield f"{'in between':24}{row.held:>10} held, {row.aborted} aborted, {row.partial} partial, {row.other} other"
    yield f"{'partly unobserved':24}{row.unobserved:>10}"
    for name, value in (
        ("planned time or limit", row.limit_s),
        ("mean", row.mean_s),
        ("median", row.median_s),
        ("shortest", row.minimum_s),
        ("longest", row.maximum_s),
        ("standard deviation", row.deviation_s),
    ):
        yield f"{name:24}{_number(value):>10} s"
    ends = _interval(row.index_low, row.index_high, 2)
    yield f"{'index (Cmk)':24}{_number(row.index, 2):>10}{ends}, target {row.target:.2f}"
    yield f"{'index, cycle to cycle':24}{_number(row.index_within, 2):>10}"
    if row.over_count is not None:
        ends = _interval(row.over_low_pct, row.over_high_pct, 1)
        yield f"{'longer than the limit':24}{row.over_count:>10}{ends} %"
    yield f"{'share cutting':24}{_share(row.cutting_pct):>10}"
    yield f"{'parts':24}{row.parts:>10}"
    yield f"{'parts per hour':24}{_number(row.parts_per_hour, 1):>10} with all waits"
    yield f"{'':24}{_number(row.parts_per_hour_running, 1):>10} as if without"
    if row.longest_wait_at is not None:
        yield f"{'longest wait':24}{_number(row.longest_wait_s, 1):>10} s from {row.longest_wait_at}"
    yield ""
    yield from _said(row.words, row.cautions)


def _said(words: str, cautions: Sequence[str]) -> Iterator[str]:
    yield from _wrapped(words)
    for caution in cautions:
        yield from _wrapped(f"Note: {caution}", 6)


def _wrapped(text: str, indent: int = 0) -> list[str]:
    return wrap(text, WIDTH, subsequent_indent=" " * indent)


def _line(name: str, first: int, second: int) -> str:
    return f"{name:22}{first:>11}{second:>11}"


def _times(
    name: str,
    first: float | None,
    second: float | None,
    difference: float | None = None,
    low: float | None = None,
    high: float | None = None,
) -> str:
    told = "" if difference is None else f"{difference:+12.3f}"
    ends = "" if low is None or high is None else f"   {low:+.3f} to {high:+.3f}"
    return f"{name[:21]:22}{_number(first):>11}{_number(second):>11}{told}{ends}"


def _number(value: float | None, digits: int = 3) -> str:
    return "unknown" if value is None else f"{value:.{digits}f}"


def _interval(low: float | None, high: float | None, digits: int) -> str:
    return "" if low is None or high is None else f"   {low:.{digits}f} to {high:.{digits}f}"


def _share(pct: float | None) -> str:
    return "unknown" if pct is None else f"{pct:.1f} %"
