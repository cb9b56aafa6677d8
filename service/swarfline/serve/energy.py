"""/energy and /machines/{id}/energy: what was taken, by condition and per good part, and the highest demand."""

from __future__ import annotations

from functools import reduce
from operator import add
from typing import Any

from fastapi import APIRouter
from pydantic import Field

from swarfline.capability import can_tell
from swarfline.facts import CONDITIONS, Energy
from swarfline.measure.energy import JOULES_PER_KWH, EnergySums, demand, energy_figures, peak
from swarfline.measure.energy_use import charges, mean_power, total_base_load
from swarfline.plant import Machine
from swarfline.serve.assemble import Assembly
from swarfline.serve.paging import Paged
from swarfline.serve.reply import Replying
from swarfline.serve.room import InRoom, OneMachine, Room
from swarfline.serve.selection import CellName, MachineName
from swarfline.serve.shapes import Facts, Figures, FigureShape, Shape, figure
from swarfline.serve.slices import Grouped, Slice, SliceShape, slice_fields, slices
from swarfline.serve.spans import AskedSpan
from swarfline.serve.table import OPENAPI
from swarfline.serve.times import seconds, show

router = APIRouter(tags=["energy"])


class EnergyPieceRow(Shape):
    """Energy of a piece of time within one condition and one quarter of an hour."""

    machine: str
    start: str
    end: str
    duration_s: float
    condition: str
    energy_kwh: float
    basis: str = Field(description="counter, or power integrated")
    open: bool


class ConditionKwh(Shape):
    """kWh by condition; null: no energy known in that condition."""

    unobserved_kwh: float | None
    off_kwh: float | None
    out_of_service_kwh: float | None
    setup_kwh: float | None
    held_kwh: float | None
    producing_kwh: float | None
    fault_kwh: float | None
    waiting_kwh: float | None


class ConditionKw(Shape):
    """Mean power by condition, of one machine; null: no energy known in that condition."""

    unobserved_kw: float | None
    off_kw: float | None
    out_of_service_kw: float | None
    setup_kw: float | None
    held_kw: float | None
    producing_kw: float | None
    fault_kw: float | None
    waiting_kw: float | None


class EnergyRow(SliceShape):
    """Energy of one machine, cell, part, day, …; machines that tell no energy are left out."""

    good: int | None
    energy: FigureShape
    energy_per_part: FigureShape
    energy_per_good_part: FigureShape
    by_condition: ConditionKwh
    mean_power: ConditionKw
    base_load_kw: float | None = Field(description="power taken when nothing is produced; not by part")
    base_load_quarters: int = Field(description="quarters of an hour that it was taken from")
    cost: float | None = Field(description="null without a price in the plant file")
    currency: str | None = Field(description="ISO 4217 code")
    co2_kg: float | None = Field(description="null without a factor in the plant file")
    demand_peak_kw: float | None = Field(description="highest mean of a quarter of an hour; not by part")
    demand_peak_at: str | None
    demand_peak_coverage_pct: float | None = Field(description="below 100 the peak is a lower bound")


@router.get("/machines/{machine_id}/energy", response_model=Facts[EnergyPieceRow], responses=OPENAPI)
def list_pieces(machine: OneMachine, room: InRoom, asked: AskedSpan, window: Paged, reply: Replying) -> Any:
    """Pieces of energy that overlap the span, whole."""
    found, last = window.take(lambda n, after: room.queries.facts(Energy, machine.id, *asked.interval, n, after))
    rows = [
        EnergyPieceRow(
            machine=e.machine,
            start=show(e.start_us, room.zone),
            end=show(e.end_us, room.zone),
            duration_s=seconds(e.end_us - e.start_us),
            condition=e.condition,
            energy_kwh=e.energy_j / JOULES_PER_KWH,
            basis=e.basis,
            open=e.open,
        )
        for e in found
    ]
    return reply.facts(room, asked, window, EnergyPieceRow, rows, last)


@router.get("/energy", response_model=Figures[EnergyRow], responses=OPENAPI)
def list_energy(
    room: InRoom,
    asked: AskedSpan,
    reply: Replying,
    by: Grouped = "machine",
    machine: MachineName = None,
    cell: CellName = None,
) -> Any:
    """Energy of the span. Here coverage is the share of the whole span whose energy is known."""
    work = Assembly(room, asked.interval, asked.now_us)
    telling = energy_machines(room, room.machines(machine, cell))
    rows = [energy_row(work, piece) for piece in slices(work, by, telling)]
    return reply.figures(room, asked, work.energy_coverage([m.id for m in telling]), EnergyRow, rows)


def energy_machines(room: Room, machines: list[Machine]) -> list[Machine]:
    """The machines that tell energy or power."""
    return [m for m in machines if can_tell(room.plant, m, "energy")]


def energy_row(work: Assembly, piece: Slice) -> EnergyRow:
    """The energy of one slice, as sent."""
    zone = work.room.zone
    sums = reduce(add, (work.energy(p.machine, p.spans, p.part) for p in piece.pieces), EnergySums())
    figures = energy_figures(sums)
    whole = all(p.part is None for p in piece.pieces)
    machines = piece.machines if whole else []
    taken = [e for m in machines for e in work.energies(m, piece.span)]
    top = peak(demand(taken, piece.span, len(machines))) if machines else None
    base = total_base_load(work.base_load(m, piece.span) for m in machines)
    table = work.room.plant.energy
    charged = charges(figures["energy"].value, table.price_per_kwh, table.co2_kg_per_kwh)
    return EnergyRow(
        **slice_fields(work, piece),
        good=sums.good,
        energy=figure(figures["energy"], "kWh"),
        energy_per_part=figure(figures["energy_per_part"], "kWh, 1"),
        energy_per_good_part=figure(figures["energy_per_good_part"], "kWh, 1"),
        by_condition=_kwh(sums),
        mean_power=_kw(sums),
        base_load_kw=_kilowatts(base.watts),
        base_load_quarters=base.quarters,
        cost=charged["energy_cost"],
        currency=work.room.plant.figures.currency,
        co2_kg=charged["energy_co2"],
        demand_peak_kw=None if top is None else _kilowatts(top.mean_w),
        demand_peak_at=None if top is None else show(top.start_us, zone),
        demand_peak_coverage_pct=None if top is None else float(top.coverage * 100),
    )


def _kilowatts(watts: float | None) -> float | None:
    return None if watts is None else watts / 1000


def _kwh(sums: EnergySums) -> ConditionKwh:
    known = sums.by_condition_j
    return ConditionKwh(**{f"{c}_kwh": known[c] / JOULES_PER_KWH if c in known else None for c in CONDITIONS})


def _kw(sums: EnergySums) -> ConditionKw:
    known = mean_power(sums)
    return ConditionKw(**{f"{c}_kw": _kilowatts(known.get(c)) for c in CONDITIONS})
