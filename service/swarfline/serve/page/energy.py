"""The page of energy: what was taken, by whom and while doing what, base load, and the peaks of demand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from fastapi import FastAPI, Request
from starlette.responses import Response

from swarfline.facts import CONDITIONS
from swarfline.measure.energy import Demand, demand
from swarfline.plant import Machine
from swarfline.serve.assemble import Assembly
from swarfline.serve.energy import EnergyRow, energy_machines, energy_row
from swarfline.serve.energy_use import LONGEST_US, PerCycleRow, per_cycle_rows
from swarfline.serve.page import words
from swarfline.serve.page.amounts import money
from swarfline.serve.page.choosing import Chosen, choose, piece_words
from swarfline.serve.page.pages import pages_of
from swarfline.serve.page.ribbon import HEIGHT, WIDTH
from swarfline.serve.room import InRoom
from swarfline.serve.slices import By, slices
from swarfline.serve.spans import DAY, MONTH, SHIFT, WEEK

PEAKS = 5
"""Highest quarters of an hour that are listed."""
DAY_US = 86_400_000_000


@dataclass(frozen=True, slots=True)
class Line:
    """One row of figures; shares are of the largest row, for bars."""

    row: EnergyRow
    share: float | None


@dataclass(frozen=True, slots=True)
class ConditionLine:
    """A condition's energy and mean power; ``share`` of all that is known."""

    condition: str
    kwh: float | None
    share: float | None


@dataclass(frozen=True, slots=True)
class PeakLine:
    """A quarter of an hour with a high demand."""

    when: str
    kw: float
    coverage: float


@dataclass(frozen=True, slots=True)
class DemandPicture:
    """Mean power by the quarter of an hour as a path in a box of WIDTH × HEIGHT; None: too long a span."""

    path: str
    partly: str
    top_kw: float
    base: str
    ticks: list[str]


@dataclass(frozen=True, slots=True)
class EnergyView:
    """The page's content."""

    total: EnergyRow | None
    machines: list[Line]
    pieces: list[Line]
    piece_name: str
    conditions: list[ConditionLine]
    picture: DemandPicture | None
    peaks: list[PeakLine]
    cycles: list[PerCycleRow]
    untold: list[Machine]


def energy_view(chosen: Chosen) -> EnergyView:
    """Energy of the machines and the span chosen."""
    room = chosen.room
    work = Assembly(room, chosen.asked.interval, chosen.asked.now_us)
    telling = energy_machines(room, list(chosen.machines))
    untold = [m for m in chosen.machines if m not in telling]
    if not telling:
        return EnergyView(None, [], [], "", [], None, [], [], untold)
    total = energy_row(work, slices(work, "plant", telling)[0])
    by = _pieces_of(chosen)
    series = [] if _too_long(chosen) else _demand(work, telling)
    return EnergyView(
        total,
        _lines([energy_row(work, s) for s in slices(work, "machine", telling)]),
        _lines([energy_row(work, s) for s in slices(work, by, telling)]) if by else [],
        by or "",
        _conditions(total),
        _picture(series, total, chosen) if any(d.mean_w for d in series) else None,
        _peaks(series, chosen),
        [row for s in slices(work, "machine", telling) for row in per_cycle_rows(work, s.machines[0])],
        untold,
    )


def _pieces_of(chosen: Chosen) -> By | None:
    """Into what a span is cut for the columns: a month into days, a day into shifts; a shift is one piece."""
    if chosen.kind in (WEEK, MONTH):
        return "day"
    if chosen.kind == DAY:
        return "shift"
    return None if chosen.kind == SHIFT or chosen.asked.end_us - chosen.asked.start_us <= DAY_US else "day"


def _too_long(chosen: Chosen) -> bool:
    return chosen.asked.end_us - chosen.asked.start_us > LONGEST_US


def _lines(rows: Sequence[EnergyRow]) -> list[Line]:
    most = max((row.energy.value or 0.0 for row in rows), default=0.0)
    return [Line(row, None if not most or row.energy.value is None else row.energy.value / most) for row in rows]


def _conditions(total: EnergyRow) -> list[ConditionLine]:
    known = total.by_condition.model_dump()
    whole = sum(v for v in known.values() if v is not None)
    found = [(c, known[f"{c}_kwh"]) for c in CONDITIONS]
    return [ConditionLine(c, kwh, kwh / whole if whole else None) for c, kwh in found if kwh is not None]


def _demand(work: Assembly, telling: Sequence[Machine]) -> list[Demand]:
    return demand([e for m in telling for e in work.energies(m.id)], work.span, len(telling))


def _picture(series: Sequence[Demand], total: EnergyRow, chosen: Chosen) -> DemandPicture:
    top = max(d.mean_w or 0.0 for d in series)
    whole: list[str] = []
    partly: list[str] = []
    width = WIDTH / len(series)
    for place, found in enumerate(series):
        if found.mean_w is None:
            continue
        left, height = place * width, HEIGHT * found.mean_w / top
        box = f"M{left:.5g} {HEIGHT}v{-height:.4g}h{width:.4g}V{HEIGHT}z"
        (whole if found.coverage == 1 else partly).append(box)
    base = total.base_load_kw
    level = "" if base is None else f"M0 {HEIGHT * (1 - min(1.0, base * 1000 / top)):.4g}h{WIDTH}v0.4h-{WIDTH}z"
    return DemandPicture("".join(whole), "".join(partly), top / 1000, level, _ticks(chosen))


def _ticks(chosen: Chosen) -> list[str]:
    """Labels at equal distances along the picture."""
    start, end = chosen.asked.interval
    count = 6
    return [words.clock(start + (end - start) * n // count, chosen.room.zone, start) for n in range(count)]


def _peaks(series: Sequence[Demand], chosen: Chosen) -> list[PeakLine]:
    known = sorted((d for d in series if d.mean_w is not None), key=lambda d: -(d.mean_w or 0.0))[:PEAKS]
    zone, now_us = chosen.room.zone, chosen.asked.now_us
    return [
        PeakLine(words.clock(d.start_us, zone, now_us), (d.mean_w or 0.0) / 1000, float(d.coverage)) for d in known
    ]


def install(app: FastAPI) -> None:
    """Serve this page of ``app``."""

    @app.get("/energy", include_in_schema=False)
    def energy_page(request: Request, room: InRoom) -> Response:
        chosen = choose(request, room, DAY)
        return pages_of(app).answer(
            "energy.html", chosen=chosen, view=energy_view(chosen), money=money, piece_words=piece_words
        )
