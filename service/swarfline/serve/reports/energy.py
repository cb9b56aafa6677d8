"""The section of energy: kWh, per good part, and cost."""

from __future__ import annotations

from swarfline.facts import CONDITIONS
from swarfline.report import BAR, NUMBER, Column, Row, Section, Segment
from swarfline.serve.energy import EnergyRow, energy_machines, energy_row
from swarfline.serve.page import words
from swarfline.serve.reports import cells
from swarfline.serve.reports.figures import Work
from swarfline.serve.slices import slices
from swarfline.serve.tongue import gettext as _


def energy(work: Work) -> Section:
    """Energy of each machine that tells any, and of all of them together."""
    table, telling = work.room.plant.energy, energy_machines(work.room, list(work.about.machines))
    priced, weighed = table.price_per_kwh is not None, table.co2_kg_per_kwh is not None
    columns = (
        Column("machine", _("Machine")),
        Column("bar", _("By condition"), BAR),
        Column("energy_kwh", _("Energy"), NUMBER),
        Column("energy_per_good_part_kwh", _("Per good part"), NUMBER),
        *([Column("cost", _("Cost"), NUMBER)] if priced else []),
        *([Column("co2_kg", _("CO₂"), NUMBER)] if weighed else []),
        Column("demand_peak_kw", _("Highest quarter hour"), NUMBER),
        Column("coverage_pct", _("Time known"), NUMBER),
    )
    by_machine = [energy_row(work.facts, piece) for piece in slices(work.facts, "machine", telling)]
    scale = max((row.energy.value or 0.0 for row in by_machine), default=0.0) or 1.0
    rows = [_row(row.key, row.name, row, scale, priced, weighed) for row in by_machine]
    if len(rows) > 1:
        whole = energy_row(work.facts, slices(work.facts, "plant", telling)[0])
        rows.append(_row("together", _("together"), whole, None, priced, weighed))
    kinds = [c for c in CONDITIONS if any(getattr(row.by_condition, f"{c}_kwh") for row in by_machine)]
    note = _("Of the whole span, in and out of planned time.")
    nothing = _("No machine of this report tells its energy: map power or energy.")
    legend = tuple((c, words.condition(c)) for c in kinds)
    return Section("energy", _("Energy"), columns, tuple(rows), note if rows else "", nothing, legend=legend)


def _row(key: str, name: str, row: EnergyRow, scale: float | None, priced: bool, weighed: bool) -> Row:
    """``scale`` None: a sum, which no bar is drawn for."""
    coverage, peak = row.energy.coverage_pct, row.demand_peak_coverage_pct
    return Row(
        key,
        (
            cells.text(name),
            cells.bar([] if scale is None else _pieces(row, scale)),
            cells.quantity(row.energy.value, "kWh", 1, coverage),
            cells.quantity(row.energy_per_good_part.value, "kWh", 3, coverage),
            *([cells.money(row.cost, row.currency)] if priced else []),
            *([cells.quantity(row.co2_kg, "kg", 1, coverage)] if weighed else []),
            cells.quantity(row.demand_peak_kw, "kW", 2, peak),
            cells.share(coverage),
        ),
        strong=scale is None,
    )


def _pieces(row: EnergyRow, scale: float) -> list[Segment]:
    found, at = [], 0.0
    for condition in CONDITIONS:
        kwh = getattr(row.by_condition, f"{condition}_kwh") or 0.0
        found.append(Segment(at / scale, (at + kwh) / scale, condition))
        at += kwh
    return found
