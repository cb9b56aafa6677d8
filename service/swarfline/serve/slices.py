"""How the time asked about is cut up: by machine, cell, plant, part, shift, day, week or month."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Annotated, Any, Literal

from fastapi import Query
from pydantic import Field

from swarfline.calendar import Interval
from swarfline.plant import Machine
from swarfline.serve.assemble import Assembly
from swarfline.serve.shapes import Shape
from swarfline.serve.times import show

By = Literal["machine", "cell", "plant", "part", "shift", "day", "week", "month"]

BY_DAYS: tuple[By, ...] = ("machine", "cell", "plant", "day", "week", "month")
"""Cuts whose slices are made of whole days, but at the edges of the span: tallies may stand in for facts."""

Grouped = Annotated[
    By,
    Query(
        description="what each row stands for. part: time belongs to the part of the cycle begun last; "
        "shift: time outside of shifts belongs to no row"
    ),
]


@dataclass(frozen=True, slots=True)
class Piece:
    """One machine's share of a slice: disjoint spans, and the part when only one counts."""

    machine: str
    spans: tuple[Interval, ...]
    part: str | None = None


@dataclass(slots=True)
class Slice:
    """One row to come: what it is called, its outer span, and its pieces."""

    key: str
    name: str
    span: Interval
    pieces: list[Piece] = field(default_factory=list)

    @property
    def machines(self) -> list[str]:
        """The machines in it, in the order of the pieces."""
        return list(dict.fromkeys(p.machine for p in self.pieces))


class SliceShape(Shape):
    """What every row of figures begins with: one machine, cell, part, shift, day, …"""

    key: str
    name: str
    from_: str = Field(alias="from")
    to: str
    machines: list[str]


def slice_fields(work: Assembly, piece: Slice) -> dict[str, Any]:
    """The members of SliceShape."""
    return {
        "key": piece.key,
        "name": piece.name,
        "from": show(piece.span[0], work.room.zone),
        "to": show(piece.span[1], work.room.zone),
        "machines": piece.machines,
    }


def slices(work: Assembly, by: By, machines: Sequence[Machine]) -> list[Slice]:
    """The slices of the span for these machines, in the order of the plant file or of time."""
    return [s for s in _CUTS[by](work, machines) if s.pieces]


def _by_machine(work: Assembly, machines: Sequence[Machine]) -> list[Slice]:
    return [Slice(m.id, m.name or m.id, work.span, [Piece(m.id, (work.span,))]) for m in machines]


def _by_cell(work: Assembly, machines: Sequence[Machine]) -> list[Slice]:
    found: dict[str, Slice] = {}
    for machine in machines:
        key = machine.cell or ""
        row = found.setdefault(key, Slice(key, work.room.cell_name(machine.cell), work.span))
        row.pieces.append(Piece(machine.id, (work.span,)))
    return list(found.values())


def _by_plant(work: Assembly, machines: Sequence[Machine]) -> list[Slice]:
    pieces = [Piece(m.id, (work.span,)) for m in machines]
    return [Slice("plant", work.room.plant.plant.name, work.span, pieces)]


def _by_part(work: Assembly, machines: Sequence[Machine]) -> list[Slice]:
    names = {p.id: p.name or p.id for p in work.room.plant.parts}
    found: dict[str, Slice] = {}
    for machine in machines:
        for part, spans in work.part_runs(machine.id).items():
            row = found.setdefault(part, Slice(part, names.get(part, part), work.span))
            row.pieces.append(Piece(machine.id, tuple(spans), part))
    return [found[part] for part in sorted(found)]


def _by_shift(work: Assembly, machines: Sequence[Machine]) -> list[Slice]:
    found: dict[tuple[int, str], Slice] = {}
    for machine in machines:
        for shift in work.room.calendar.shift_spans(machine.id, *work.span):
            inside = _clip((shift.start_us, shift.end_us), work.span)
            key = f"{shift.day.isoformat()} {shift.name}"
            row = found.setdefault((shift.start_us, key), Slice(key, shift.name, inside))
            row.pieces.append(Piece(machine.id, (inside,)))
    return [found[key] for key in sorted(found)]


def _by_day(work: Assembly, machines: Sequence[Machine]) -> list[Slice]:
    days = work.room.calendar.days(*work.span)
    return _timed(machines, ((day.isoformat(), day.strftime("%A"), span) for day, span in days))


def _by_week(work: Assembly, machines: Sequence[Machine]) -> list[Slice]:
    calendar = work.room.calendar
    first, last = (calendar.day_of(us) for us in (work.span[0], work.span[1] - 1))
    weeks = [(day, _clip(calendar.week_span(day), work.span)) for day in _mondays(first, last)]
    return _timed(machines, ((_week_name(day), f"week {day.isocalendar().week}", span) for day, span in weeks))


def _by_month(work: Assembly, machines: Sequence[Machine]) -> list[Slice]:
    calendar = work.room.calendar
    first, last = (calendar.day_of(us) for us in (work.span[0], work.span[1] - 1))
    months = [(day, _clip(calendar.month_span(day), work.span)) for day in _firsts(first, last)]
    return _timed(machines, ((f"{day:%Y-%m}", f"{day:%B %Y}", span) for day, span in months))


def _timed(machines: Sequence[Machine], spans: Iterable[tuple[str, str, Interval]]) -> list[Slice]:
    return [Slice(key, name, span, [Piece(m.id, (span,)) for m in machines]) for key, name, span in spans]


def _week_name(day: date) -> str:
    iso = day.isocalendar()
    return f"{iso.year}-W{iso.week:02d}"


def _mondays(first: date, last: date) -> list[date]:
    monday = first - timedelta(days=first.isoweekday() - 1)
    return [monday + timedelta(days=n) for n in range(0, (last - monday).days + 1, 7)]


def _firsts(first: date, last: date) -> list[date]:
    """The first day of every month from the one of ``first`` to the one of ``last``."""
    months = range(first.year * 12 + first.month - 1, last.year * 12 + last.month)
    return [date(number // 12, number % 12 + 1, 1) for number in months]


def _clip(interval: Interval, span: Interval) -> Interval:
    return max(interval[0], span[0]), min(interval[1], span[1])


_CUTS: dict[By, Callable[[Assembly, Sequence[Machine]], list[Slice]]] = {
    "machine": _by_machine,
    "cell": _by_cell,
    "plant": _by_plant,
    "part": _by_part,
    "shift": _by_shift,
    "day": _by_day,
    "week": _by_week,
    "month": _by_month,
}
