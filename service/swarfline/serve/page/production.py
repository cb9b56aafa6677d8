"""The page of production: OEE, the losses as one picture, machines compared, what cost most, parts, the course."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from urllib.parse import parse_qsl, urlencode, urlsplit

from fastapi import FastAPI, Request
from starlette.responses import Response

from swarfline.measure.elements import NOT_PRODUCING
from swarfline.measure.losses import GOOD_PARTS, SCRAP_PARTS, SLOW_RUNNING
from swarfline.plant import Machine
from swarfline.serve.losses import LossRow
from swarfline.serve.oee import OeeRow, oee_row
from swarfline.serve.page import amounts, words
from swarfline.serve.page.amounts import MONEY, TIME, UNITS, Amount
from swarfline.serve.page.choosing import Chosen, choose, span_words
from swarfline.serve.page.pages import pages_of
from swarfline.serve.page.production_ladder import Rung, ladder, strip, strip_scale
from swarfline.serve.page.production_sides import (
    MachineSide,
    Side,
    beside,
    of_its_shift,
    pieces_of,
    side,
    start_us,
)
from swarfline.serve.page.ribbon import HEIGHT, WIDTH
from swarfline.serve.problems import wrong
from swarfline.serve.room import InRoom
from swarfline.serve.slices import slices
from swarfline.serve.spans import DAY
from swarfline.serve.tongue import gettext as _

KEPT = ("in", "sort", "against", "against_from", "against_to")
FACTORS = ("availability", "effectiveness", "quality_ratio", "oee")
SORTS = ("machine", "oee", "availability", "effectiveness", "quality_ratio", "ahead", "lost")
MOST_RANKED = 12
PATH, STOPS_PATH = "/production", "/production/stops"


@dataclass(frozen=True, slots=True)
class Factor:
    """OEE or one of its factors; ``terms`` tell what it is made of."""

    name: str
    title: str
    value: float | None
    estimate: bool
    terms: str
    address: str
    before: float | None


@dataclass(frozen=True, slots=True)
class MachineLine:
    """One machine in the comparison."""

    found: MachineSide
    strip: tuple[tuple[str, str], ...]
    worst: LossRow | None
    before: OeeRow | None


@dataclass(frozen=True, slots=True)
class Ranked:
    """A loss of one machine, or a reason; ``share`` is of the largest, for the bar."""

    title: str
    machine: Machine | None
    amount: Amount
    css: str
    share: float | None
    address: str
    times: int | None = None


@dataclass(frozen=True, slots=True)
class Column:
    """A day, shift or week of the span; ``path`` in a box of WIDTH × HEIGHT."""

    title: str
    row: OeeRow
    address: str
    path: str


@dataclass(frozen=True, slots=True)
class ProductionView:
    """The page's content."""

    now: Side
    then: Side | None
    unit: str
    sort: str
    currency: str | None
    factors: list[Factor]
    hints: list[tuple[str, list[str]]]
    rungs: list[Rung]
    machines: list[MachineLine]
    ranked: list[Ranked]
    reasons: list[Ranked]
    columns: list[Column]
    columns_by: str
    column_top: float
    parts: list[OeeRow]


def production_view(chosen: Chosen, against: Chosen | None, unit: str, sort: str) -> ProductionView:
    """Figures of the machines and the span chosen, in one of UNITS, machines in the order of one of SORTS."""
    now, then = side(chosen), None if against is None else side(against)
    by, columns, top = _columns(now)
    return ProductionView(
        now,
        then,
        unit,
        sort,
        chosen.room.plant.figures.currency,
        [_factor(name, now, then) for name in FACTORS],
        _hints(now),
        ladder(now, unit, then),
        _machines(now, then, sort),
        _ranked(now, unit),
        _reasons(now, unit),
        columns,
        by,
        top,
        [oee_row(now.work, s) for s in slices(now.work, "part", chosen.machines)] if now.fine else [],
    )


def stops_address(chosen: Chosen, **told: str | None) -> str:
    """The list of stops of the span chosen."""
    return replace(chosen, path=STOPS_PATH, more=()).address(**told)


def cycles_address(chosen: Chosen, machine: str) -> str:
    """The cycles of a machine in the span chosen."""
    return f"/machines/{machine}/cycles?{urlencode(chosen.moments)}"


def _factor(name: str, now: Side, then: Side | None) -> Factor:
    found, times, made = getattr(now.total.figures, name), now.total.times, now.total.parts
    titles = {
        "oee": "OEE",
        "availability": _("Availability"),
        "effectiveness": _("Effectiveness"),
        "quality_ratio": _("Quality"),
    }
    produced = now.total.figures.effectiveness.numerator
    good = now.total.figures.oee.numerator
    busy, production = amounts.hours(times.planned_busy_time_s), amounts.hours(times.actual_production_time_s)
    terms = {
        "oee": _("good parts worth %(some)s of %(all)s planned and observed")
        % {"some": amounts.hours(good), "all": busy},
        "availability": _("produced %(some)s of %(all)s planned and observed") % {"some": production, "all": busy},
        "effectiveness": _("parts worth %(some)s made in %(all)s")
        % {"some": amounts.hours(produced), "all": production},
        "quality_ratio": _("%(some)s good of %(all)s made")
        % {"some": words.number(made.good), "all": words.number(made.produced)},
    }
    address = now.chosen.address(sort=name) + "#machines"
    before = None if then is None else getattr(then.total.figures, name).value
    return Factor(name, titles[name], found.value, found.estimate, terms[name], address, before)


def _hints(now: Side) -> list[tuple[str, list[str]]]:
    """What has to be known about the figures, and of which machines."""
    found: dict[str, list[str]] = {hint: [] for hint in amounts.hints(now.total.figures)}
    for each in now.machines:
        for hint in amounts.hints(each.row.figures):
            found.setdefault(hint, []).append(each.machine.name or each.machine.id)
    return list(found.items())


def _machines(now: Side, then: Side | None, sort: str) -> list[MachineLine]:
    scale = strip_scale([m.losses for m in now.machines])
    before = {} if then is None else {m.machine.id: m.row for m in then.machines}
    lines = [
        MachineLine(m, strip(m.losses, scale), _worst(m.losses), before.get(m.machine.id)) for m in now.machines
    ]
    return sorted(lines, key=_sort_key(sort)) if sort != "machine" else lines


def _sort_key(sort: str) -> Callable[[MachineLine], tuple[bool, float]]:
    """The worst first, what is not known last."""

    def key(line: MachineLine) -> tuple[bool, float]:
        if sort == "ahead":
            value = line.found.pace.ahead
        elif sort == "lost":
            value = -_lost_s(line.found.losses)
        else:
            value = getattr(line.found.row.figures, sort).value
        return value is None, value or 0.0

    return key


def _lost_s(rows: list[LossRow]) -> float:
    return sum(row.time_s for row in rows if _is_loss(row))


def _is_loss(row: LossRow) -> bool:
    return row.loss in (*NOT_PRODUCING, SCRAP_PARTS, SLOW_RUNNING) and row.time_s > 0


def _worst(rows: list[LossRow]) -> LossRow | None:
    return max((row for row in rows if _is_loss(row)), key=lambda row: row.time_s, default=None)


def _ranked(now: Side, unit: str) -> list[Ranked]:
    found = [(m.machine, row, Amount.of([row])) for m in now.machines for row in m.losses if _is_loss(row)]
    found.sort(key=lambda entry: -(entry[2].value(unit) or 0.0))
    most = max((a.value(unit) or 0.0 for *_, a in found), default=0.0)
    return [
        Ranked(
            amounts.loss_words(row.loss, row.length),
            machine,
            amount,
            f"c-{row.loss}",
            _part_of(amount, unit, most),
            _address(now.chosen, machine.id, row),
        )
        for machine, row, amount in found[:MOST_RANKED]
    ]


def _part_of(amount: Amount, unit: str, most: float) -> float | None:
    value = amount.value(unit)
    return None if value is None or not most else value / most


def _address(chosen: Chosen, machine: str, row: LossRow) -> str:
    """What a loss of a machine is made of."""
    if row.loss == SLOW_RUNNING:
        return cycles_address(chosen, machine)
    if row.loss == SCRAP_PARTS:
        return chosen.address(machine=machine, cell=None) + "#parts"
    return stops_address(chosen, machine=machine, cell=None, condition=row.loss, length=row.length or None)


def _reasons(now: Side, unit: str) -> list[Ranked]:
    if now.reasons is None:
        return []
    rows = [(row, Amount.of([row])) for row in now.reasons if row.reason is not None and row.time_s]
    rows.sort(key=lambda entry: -(entry[1].value(unit) or 0.0))
    most = max((amount.value(unit) or 0.0 for _, amount in rows), default=0.0)
    stops = [s.reason for m in now.chosen.machines for s in now.work.stops(m.id, now.work.span)]
    return [
        Ranked(
            amounts.loss_words(row.loss, reason=row.reason),
            None,
            amount,
            "c-stays",
            _part_of(amount, unit, most),
            stops_address(now.chosen, **({"reason": row.reason} if row.reason else {"named": "no"})),
            stops.count(row.reason or ""),
        )
        for row, amount in rows[:MOST_RANKED]
    ]


def _columns(now: Side) -> tuple[str, list[Column], float]:
    by, rows = pieces_of(now)
    top = max([1.0, *(row.figures.oee.value or 0.0 for row in rows)])
    width = WIDTH / max(1, len(rows))
    return by, [_column(now.chosen, by, row, n * width, width, top) for n, row in enumerate(rows)], top


def _column(chosen: Chosen, by: str, row: OeeRow, left: float, width: float, top: float) -> Column:
    path = _bar(left, width, (row.figures.oee.value or 0.0) / top)
    return Column(_piece_title(chosen, by, row), row, _piece_address(chosen, by, row), path)


def _bar(left: float, width: float, share: float) -> str:
    return f"M{left + width * 0.12:.5g} {HEIGHT}v{-HEIGHT * share:.5g}h{width * 0.76:.5g}V{HEIGHT}Z"


def _piece_title(chosen: Chosen, by: str, row: OeeRow) -> str:
    day = words.day(chosen.room.calendar.day_of(start_us(row)))
    if by == "shift":
        return f"{row.name}, {day}"
    return _("week of %s") % day if by == "week" else day


def _piece_address(chosen: Chosen, by: str, row: OeeRow) -> str:
    return chosen.address(**{"span": by, "at": row.from_, "from": None, "to": None})


def state_of(address: str, *left_out: str) -> list[tuple[str, str]]:
    """The parameters of an address, for the hidden fields of a form that changes others."""
    return [(name, value) for name, value in parse_qsl(urlsplit(address).query) if name not in left_out]


def _one_of(told: dict[str, str], name: str, allowed: tuple[str, ...]) -> str:
    value = told.get(name, allowed[0])
    if value not in allowed:
        raise wrong(name, f"{value[:40]!r} is not known", ", ".join(allowed))
    return value


def install(app: FastAPI) -> None:
    """Serve this page of ``app``."""

    @app.get("/production", include_in_schema=False)
    def production_page(request: Request, room: InRoom) -> Response:
        told = {name: value for name, value in request.query_params.items() if value.strip()}
        unit, sort = _one_of(told, "in", UNITS), _one_of(told, "sort", SORTS)
        wide = choose(request, room, DAY, KEPT)
        chosen = of_its_shift(wide)
        if unit == MONEY and room.plant.figures.currency is None:
            raise wrong("in", "no currency is set: see [figures] in the plant file", TIME)
        against = beside(chosen, told)
        view = production_view(chosen, against, unit, sort) if chosen.machines else None
        return pages_of(app).answer(
            "production.html",
            chosen=chosen,
            against=against,
            left_out=[m.name or m.id for m in wide.machines if m not in chosen.machines],
            beside=told.get("against", "other" if against else ""),
            beside_title=None if against is None else span_title(against),
            view=view,
            unit=unit,
            units=UNITS if room.plant.figures.currency else UNITS[:2],
            amounts=amounts,
            stops_address=stops_address,
            cycles_address=cycles_address,
            state_of=state_of,
            GOOD_PARTS=GOOD_PARTS,
        )


def span_title(chosen: Chosen) -> str:
    """A span in words, its days and hours."""
    start, end = chosen.asked.interval
    zone, calendar = chosen.room.zone, chosen.room.calendar
    if calendar.day_of(start) == calendar.day_of(end - 1):
        return span_words(start, end, chosen.room)
    days = (f"{words.day(calendar.day_of(us))}, {words.clock(us, zone)}" for us in (start, end))
    return " – ".join(days)
