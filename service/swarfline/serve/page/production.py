"""The page of production: OEE, the losses as one picture, machines compared, what cost most, parts, the course."""

from __future__ import annotations

from dataclasses import dataclass
from urllib.parse import parse_qsl, urlsplit

from fastapi import FastAPI, Request
from starlette.responses import Response

from swarfline.sentence import N_, Sentence
from swarfline.serve.oee import OeeRow, is_known, oee_row
from swarfline.serve.page import amounts, words
from swarfline.serve.page.amounts import MONEY, TIME, UNITS
from swarfline.serve.page.choosing import Chosen, choose, span_words
from swarfline.serve.page.pages import pages_of
from swarfline.serve.page.production_ladder import PLAN, Rung, ladder
from swarfline.serve.page.production_sides import Side, beside, of_its_shift, side
from swarfline.serve.page.production_tables import (
    PATH,
    SORTS,
    Column,
    MachineLine,
    Ranked,
    columns,
    cycles_address,
    machine_address,
    machine_lines,
    ranked,
    reasons,
    stops_address,
)
from swarfline.serve.problems import wrong
from swarfline.serve.room import InRoom
from swarfline.serve.slices import slices
from swarfline.serve.spans import DAY
from swarfline.serve.tongue import gettext as _

KEPT = ("in", "sort", "against", "against_from", "against_to")
FACTORS = ("availability", "effectiveness", "quality_ratio", "oee")


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

    @property
    def comparable(self) -> bool:
        """Whether enough of both spans was observed to compare their counts and sums."""
        pair = self.now.total.coverage_pct, None if self.then is None else self.then.total.coverage_pct
        return amounts.comparable(*pair)

    @property
    def good_apart(self) -> str:
        """How many good parts more than beside it, or why that is not told."""
        if self.then is None or not (self.now.observed and self.then.observed):
            return words.UNKNOWN
        if not self.comparable:
            return amounts.no_difference()
        return amounts.change(words.number(self.now.total.parts.good - self.then.total.parts.good))

    def rung_apart(self, rung: Rung) -> str:
        """How much more of a rung than beside it; what was planned is known whatever was observed."""
        if rung.before is None or not (self.comparable or rung.key in PLAN):
            return words.UNKNOWN
        return amounts.difference(rung.amount, rung.before, self.unit, self.currency)


def production_view(chosen: Chosen, against: Chosen | None, unit: str, sort: str) -> ProductionView:
    """Figures of the machines and the span chosen, in one of UNITS, machines in the order of one of SORTS."""
    now, then = side(chosen), None if against is None else side(against)
    by, course, top = columns(now)
    return ProductionView(
        now,
        then,
        unit,
        sort,
        chosen.room.plant.figures.currency,
        [_factor(name, now, then) for name in FACTORS],
        _hints(now),
        ladder(now, unit, then),
        machine_lines(now, then, sort),
        ranked(now, unit),
        reasons(now, unit),
        course,
        by,
        top,
        [oee_row(now.work, s) for s in slices(now.work, "part", chosen.machines)] if now.fine else [],
    )


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
    told = terms[name] if now.observed else _("nothing is known of this time")
    address = now.chosen.address(sort=name) + "#machines"
    before = None if then is None else getattr(then.total.figures, name).value
    return Factor(name, titles[name], found.value, found.estimate, told, address, before)


def _hints(now: Side) -> list[tuple[str, list[str]]]:
    """What has to be known about the figures, and of which machines."""
    found: dict[str, list[str]] = {hint: [] for hint in amounts.hints(now.total.figures)}
    for each in now.machines:
        for hint in amounts.hints(each.row.figures):
            found.setdefault(hint, []).append(each.machine.name or each.machine.id)
    return list(found.items())


def state_of(address: str, *left_out: str) -> list[tuple[str, str]]:
    """The parameters of an address, for the hidden fields of a form that changes others."""
    return [(name, value) for name, value in parse_qsl(urlsplit(address).query) if name not in left_out]


def _one_of(told: dict[str, str], name: str, allowed: tuple[str, ...]) -> str:
    value = told.get(name, allowed[0])
    if value not in allowed:
        raise wrong(name, Sentence(N_("{value} is not known"), {"value": repr(value[:40])}), ", ".join(allowed))
    return value


def install(app: FastAPI) -> None:
    """Serve this page of ``app``."""

    @app.get(PATH, include_in_schema=False)
    def production_page(request: Request, room: InRoom) -> Response:
        told = {name: value for name, value in request.query_params.items() if value.strip()}
        unit, sort = _one_of(told, "in", UNITS), _one_of(told, "sort", SORTS)
        wide = choose(request, room, DAY, KEPT)
        chosen = of_its_shift(wide)
        if unit == MONEY and room.plant.figures.currency is None:
            raise wrong("in", N_("no currency is set: see [figures] in the plant file"), TIME)
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
            known=is_known,
            stops_address=stops_address,
            cycles_address=cycles_address,
            machine_address=machine_address,
            state_of=state_of,
        )


def span_title(chosen: Chosen) -> str:
    """A span in words, its days and hours."""
    start, end = chosen.asked.interval
    zone, calendar = chosen.room.zone, chosen.room.calendar
    if calendar.day_of(start) == calendar.day_of(end - 1):
        return span_words(start, end, chosen.room)
    days = (f"{words.day(calendar.day_of(us))}, {words.clock(us, zone)}" for us in (start, end))
    return " – ".join(days)
