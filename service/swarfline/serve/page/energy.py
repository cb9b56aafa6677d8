"""The page of energy: what was taken, by whom and while doing what, base load, and the peaks of demand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from fastapi import FastAPI, Request
from starlette.responses import Response

from swarfline.calendar import Calendar, Interval, from_us
from swarfline.facts import CONDITIONS
from swarfline.measure.energy import QUARTER_US, Demand, demand
from swarfline.measure.energy_use import charges
from swarfline.plant import Machine
from swarfline.serve.assemble import Assembly
from swarfline.serve.energy import EnergyRow, energy_machines, energy_row
from swarfline.serve.energy_use import LONGEST_US, PerCycleRow, per_cycle_rows
from swarfline.serve.page import words
from swarfline.serve.page.amounts import money
from swarfline.serve.page.choosing import Chosen, choose, piece_words
from swarfline.serve.page.lanes import tick_step_us, ticks
from swarfline.serve.page.pages import pages_of
from swarfline.serve.page.ribbon import HEIGHT, WIDTH
from swarfline.serve.room import InRoom
from swarfline.serve.slices import By, slices
from swarfline.serve.spans import DAY, MONTH, SHIFT, WEEK
from swarfline.serve.tongue import gettext as _

PEAKS = 5
"""Highest quarters of an hour that are listed."""
DAY_US = 86_400_000_000
MOST_TICKS = 9
"""Labels below the picture, so that they stand side by side on a phone."""
MOST_NAMED = 4
"""Machines that are named where a sum is not known for them."""
_LABEL_PCT = 10.0
"""Width that a label takes at most; a tick nearer to the end bears none."""


@dataclass(frozen=True, slots=True)
class Tick:
    """A whole hour or day below the picture: where, in hundredths of its width, and its label, empty for none."""

    at_pct: float
    label: str


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
    ticks: list[Tick]


@dataclass(frozen=True, slots=True)
class BaseLine:
    """The base load: why it is not known (empty where it is), and what it costs an hour, None without a price."""

    why: str
    cost_an_hour: float | None


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
    base: BaseLine


def energy_view(chosen: Chosen) -> EnergyView:
    """Energy of the machines and the span chosen."""
    room = chosen.room
    work = Assembly(room, chosen.asked.interval, chosen.asked.now_us)
    telling = energy_machines(room, list(chosen.machines))
    untold = [m for m in chosen.machines if m not in telling]
    if not telling:
        return EnergyView(None, [], [], "", [], None, [], [], untold, BaseLine("", None))
    total = energy_row(work, slices(work, "plant", telling)[0])
    by = _pieces_of(chosen)
    series = [] if _too_long(chosen) else _demand(work, telling)
    each = [energy_row(work, s) for s in slices(work, "machine", telling)]
    return EnergyView(
        total,
        _lines(each),
        _lines([energy_row(work, s) for s in slices(work, by, telling)]) if by else [],
        by or "",
        _conditions(total),
        _picture(series, total, chosen) if any(d.mean_w for d in series) else None,
        _peaks(series, chosen),
        [row for s in slices(work, "machine", telling) for row in per_cycle_rows(work, s.machines[0])],
        untold,
        BaseLine(_unknown_base(total, each), _an_hour(work, total)),
    )


def _unknown_base(total: EnergyRow, each: Sequence[EnergyRow]) -> str:
    """Why the base load of all machines together is not known; empty where it is."""
    if total.base_load_kw is not None:
        return ""
    missing = [row.name for row in each if row.base_load_kw is None]
    if len(missing) == len(each):
        return _("not known: no quarter of an hour without production whose energy is known throughout")
    named = ", ".join(missing[:MOST_NAMED])
    if missing[MOST_NAMED:]:
        named += _(" and %s more") % words.number(len(missing) - MOST_NAMED)
    return _(
        "not known of %(machines)s: no quarter of an hour without production whose energy is known throughout"
    ) % {"machines": named}


def _an_hour(work: Assembly, total: EnergyRow) -> float | None:
    """What an hour of the base load costs: as many kWh as it has kW."""
    return charges(total.base_load_kw, work.room.plant.energy.price_per_kwh, None)["energy_cost"]


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
    return DemandPicture("".join(whole), "".join(partly), top / 1000, level, _ticks(series, chosen))


def _ticks(series: Sequence[Demand], chosen: Chosen) -> list[Tick]:
    """Whole hours, or days, of the time that the picture shows."""
    span = (series[0].start_us, series[-1].start_us + QUARTER_US)
    return axis(chosen.room.calendar, span)


def axis(calendar: Calendar, span: Interval) -> list[Tick]:
    """Ticks at whole hours, days or parts of an hour of a span; of many only every so manyth bears a label."""
    step, found = tick_step_us(span, MOST_TICKS), ticks(calendar, span, MOST_TICKS)
    every = max(1, -(-len(found) // MOST_TICKS))
    made = []
    for place, (at, day) in enumerate(found):
        at_pct = 100 * (at - span[0]) / (span[1] - span[0])
        label = words.weekday(day) if step >= DAY_US else f"{from_us(at, calendar.zone):%H:%M}"
        made.append(Tick(at_pct, "" if place % every or at_pct > 100 - _LABEL_PCT else label))
    return made


def _peaks(series: Sequence[Demand], chosen: Chosen) -> list[PeakLine]:
    known = sorted((d for d in series if d.mean_w is not None), key=lambda d: -(d.mean_w or 0.0))[:PEAKS]
    zone = chosen.room.zone
    return [PeakLine(words.minute(d.start_us, zone), (d.mean_w or 0.0) / 1000, float(d.coverage)) for d in known]


def install(app: FastAPI) -> None:
    """Serve this page of ``app``."""

    @app.get("/energy", include_in_schema=False)
    def energy_page(request: Request, room: InRoom) -> Response:
        chosen = choose(request, room, DAY)
        return pages_of(app).answer(
            "energy.html", chosen=chosen, view=energy_view(chosen), money=money, piece_words=piece_words
        )
