"""/tool-plan: at which stops to change which tools together, so that the fewest stops serve."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Annotated, Any

from fastapi import APIRouter, Query
from pydantic import Field

from swarfline.measure.changes import Change, ChangePlan, LifeAhead, Stop, plan_changes
from swarfline.measure.forecast import ToolForecast
from swarfline.measure.prospect import Prospect
from swarfline.serve.assemble import Assembly
from swarfline.serve.problems import wrong
from swarfline.serve.reply import Replying
from swarfline.serve.room import InRoom, Room
from swarfline.serve.selection import CellName, MachineName
from swarfline.serve.shapes import Listing, Shape
from swarfline.serve.table import OPENAPI
from swarfline.serve.times import show, show_or_none

router = APIRouter(tags=["figures"])

HOUR_US = 3_600_000_000
LOOK_AHEAD_US = 7 * 24 * HOUR_US
MOST_CYCLES = 5000

Hours = Annotated[float | None, Query(gt=0, le=24 * 14, description="plan for so many hours by the clock")]
Cycles = Annotated[int | None, Query(ge=1, le=MOST_CYCLES, description="plan for so many cycles")]
MostGivenUp = Annotated[float, Query(ge=0, le=100, description="share of a life that a change may give up, in %")]
Cautious = Annotated[bool, Query(description="plan by the low ends of the forecasts")]


class ChangeRow(Shape):
    """A tool to change at a stop."""

    pot: str
    tool: str
    name: str
    given_up_pct: float = Field(description="share of its life that is left then")
    cycles_given_up: int


class StopRow(Shape):
    """A stop at which to change tools."""

    machine: str
    after_cycles: int = Field(description="complete cycles from now on; 0: before the next one")
    at: str | None = Field(description="where cautious, the early end of the forecast; null: not known")
    tools: list[ChangeRow]


class LeftOutRow(Shape):
    """A tool that could not be planned for."""

    pot: str
    tool: str
    why: str


class MachinePlan(Shape):
    """What the plan of one machine is about."""

    machine: str
    until: str | None = Field(description="end of the horizon by the clock; null: not known, or it is in cycles")
    horizon_cycles: int | None = Field(description="null: nothing could be planned")
    stops: int | None
    stops_needed: int | None = Field(description="no plan has fewer")
    proven: bool | None = Field(description="as few stops as can be")
    left_out: list[LeftOutRow]


class ToolPlan(Listing[StopRow]):
    """Stops as of the plant's present. Planning only: follow the machine's manual and the site's rules."""

    at: str
    time_zone: str
    most_given_up_pct: float
    machines: list[MachinePlan]


@dataclass(frozen=True, slots=True)
class Planning:
    """What a plan is asked for: up to ``until_us`` by the clock, or for so many cycles; None: nothing is planned.

    ``most``: share of a life that a change may give up; ``cautious``: by the low ends of the forecasts.
    """

    until_us: int | None
    cycles: int | None
    most: Fraction
    cautious: bool


@dataclass(frozen=True, slots=True)
class Planned:
    """The plan of one machine, None where there is no horizon; ``tools`` with the cycles of a whole life each."""

    horizon: int | None
    plan: ChangePlan | None
    tools: list[tuple[ToolForecast, int]]
    left_out: list[LeftOutRow]


@router.get("/tool-plan", response_model=ToolPlan, responses=OPENAPI)
def list_stops(
    room: InRoom,
    reply: Replying,
    machine: MachineName = None,
    cell: CellName = None,
    hours: Hours = None,
    cycles: Cycles = None,
    most_given_up_pct: MostGivenUp = 20.0,
    cautious: Cautious = False,
) -> Any:
    """Stops for tool changes, machine by machine; by default to the end of the shift that runs or comes next."""
    if hours is not None and cycles is not None:
        raise wrong("cycles", "cannot stand beside hours", "hours or cycles, or neither")
    most = Fraction(most_given_up_pct) / 100
    now_us = room.now_us()
    work = Assembly(room, (now_us, now_us), now_us)
    planned = [
        _plan(work, m.id, Planning(_until_us(room, m.id, hours, cycles, now_us), cycles, most, cautious))
        for m in room.machines(machine, cell)
    ]
    return reply.listing(
        StopRow,
        [row for _, rows in planned for row in rows],
        at=show(now_us, room.zone),
        time_zone=str(room.zone),
        most_given_up_pct=most_given_up_pct,
        machines=[about for about, _ in planned],
    )


def plan_machine(work: Assembly, machine: str, asked: Planning) -> Planned:
    """The stops of one machine, as few as serve."""
    ahead = work.prospect(machine)
    horizon = asked.cycles or (None if asked.until_us is None else ahead.cycles_by(asked.until_us))
    tools, left_out = _plannable(work.forecasts(machine), asked.cautious)
    plan = None
    if horizon is not None:
        horizon = min(horizon, MOST_CYCLES)
        plan = plan_changes([life for _, life in tools], horizon, asked.most)
    return Planned(horizon, plan, [(tool, life.full) for tool, life in tools], left_out)


def _plan(work: Assembly, machine: str, asked: Planning) -> tuple[MachinePlan, list[StopRow]]:
    room, found = work.room, plan_machine(work, machine, asked)
    plan = found.plan
    about = MachinePlan(
        machine=machine,
        until=show_or_none(asked.until_us, room.zone),
        horizon_cycles=found.horizon,
        stops=len(plan.stops) if plan else None,
        stops_needed=plan.at_least if plan else None,
        proven=plan.proven if plan else None,
        left_out=found.left_out,
    )
    return about, _rows(work, machine, plan, found.tools, asked.cautious) if plan else []


def _until_us(room: Room, machine: str, hours: float | None, cycles: int | None, now_us: int) -> int | None:
    """End of the horizon; None where it is in cycles, or no shift is planned within a week."""
    if cycles is not None:
        return None
    if hours is not None:
        return now_us + round(hours * HOUR_US)
    shifts = room.calendar.shift_spans(machine, now_us, now_us + LOOK_AHEAD_US)
    return shifts[0].end_us if shifts else None


def _plannable(
    tools: list[ToolForecast], cautious: bool
) -> tuple[list[tuple[ToolForecast, LifeAhead]], list[LeftOutRow]]:
    """Tools with their lives in cycles, and those that have none; tools that are not used need no plan."""
    planned: list[tuple[ToolForecast, LifeAhead]] = []
    left_out: list[LeftOutRow] = []
    for tool in tools:
        left, full = tool.cycles_left, tool.full_life_cycles
        if cautious:
            left, full = tool.cycles_left_low, tool.full_life_cycles_low
        if tool.consumption_per_cycle == 0:
            continue
        if left is not None and full:
            planned.append((tool, LifeAhead(left, full)))
        else:
            left_out.append(LeftOutRow(pot=tool.pot or tool.pot_key, tool=tool.tool, why=_why(tool, cautious)))
    return planned, left_out


NO_LIMIT = "its limit is not known"
NO_CONSUMPTION = "its consumption is not known"
TOO_FEW = "too few cycles are known for a low end"
NO_CYCLE = "a whole life lasts for no cycle"
WHYS = (NO_LIMIT, NO_CONSUMPTION, TOO_FEW, NO_CYCLE)
"""Why a tool could not be planned for."""


def _why(tool: ToolForecast, cautious: bool) -> str:
    if tool.limit is None:
        return NO_LIMIT
    if tool.consumption_per_cycle is None:
        return NO_CONSUMPTION
    return TOO_FEW if cautious and tool.cycles_left_low is None else NO_CYCLE


def stop_at_us(ahead: Prospect, stop: Stop, tools: list[tuple[ToolForecast, int]], cautious: bool) -> int | None:
    """When a stop of a plan comes, µs UTC: after its cycles at the usual pace, None where that is not known.

    ``cautious``: at the early end of the forecast of the first of its tools; of tools that are due once more by
    then, for which there is no forecast yet, at the early end of the pace.
    """
    at_us = ahead.at_us(stop.cycle)
    if not cautious or at_us is None or stop.cycle == 0:
        return at_us
    first = (tools[change.tool][0] for change in stop.changes)
    lows = [t.limit_at_low_us for t in first if (t.cycles_left_low or 0) >= stop.cycle]
    early = min((us for us in lows if us is not None), default=None)
    if early is None:
        early = ahead.reach(stop.cycle, (stop.cycle, None)).at_low_us
    return at_us if early is None else min(early, at_us)


def _rows(
    work: Assembly, machine: str, plan: ChangePlan, tools: list[tuple[ToolForecast, int]], cautious: bool
) -> list[StopRow]:
    ahead = work.prospect(machine)
    return [
        StopRow(
            machine=machine,
            after_cycles=stop.cycle,
            at=show_or_none(stop_at_us(ahead, stop, tools, cautious), work.room.zone),
            tools=[_change_row(change, *tools[change.tool]) for change in stop.changes],
        )
        for stop in plan.stops
    ]


def _change_row(change: Change, tool: ToolForecast, full: int) -> ChangeRow:
    return ChangeRow(
        pot=tool.pot or tool.pot_key,
        tool=tool.tool,
        name=tool.name,
        given_up_pct=100 * change.given_up / full,
        cycles_given_up=change.given_up,
    )
