"""/tool-history: what lives each tool type achieved, how they ended, and the law that they follow."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Depends, Query, Request
from pydantic import Field

from swarfline.facts import Alarm, Cycle, ToolLife
from swarfline.measure.forecast import UNITS
from swarfline.measure.lives import (
    Breakage,
    History,
    KindKey,
    LifeKey,
    broken_lives,
    by_kind,
    history,
    tells_breakage,
    tool_at,
)
from swarfline.measure.survival import survival_to
from swarfline.measure.trend import quantile
from swarfline.measure.weibull import Fit, fit
from swarfline.serve.reply import Replying
from swarfline.serve.room import InRoom, Room
from swarfline.serve.selection import CellName, MachineName
from swarfline.serve.shapes import FigureShape, Shape, SpanShape, figure, percent, span_fields
from swarfline.serve.spans import Asked, From, Span, SpanOf, To
from swarfline.serve.table import OPENAPI
from swarfline.serve.times import show

router = APIRouter(tags=["tools"])

YEAR_US = 365 * 86_400_000_000

Together = Annotated[
    Literal["machine", "plant"],
    Query(description="tool types of each machine, or of all the chosen machines together"),
]
Early = Annotated[
    Literal["censored", "failure"],
    Query(description="what a change before the limit is taken for, where nothing tells why"),
]


def _asked_year(request: Request, room: InRoom, from_: From = None, to: To = None, span: Span = None) -> Asked:
    """The span asked for; the last 365 days by default."""
    if from_ is None and to is None and span is None:
        from_ = show(room.now_us() - YEAR_US, room.zone)
    return SpanOf()(request, room, from_, to, span)


AskedYear = Annotated[Asked, Depends(_asked_year)]


class ToolKindShape(Shape):
    """What every row about a tool type begins with; used and limit in ``unit``."""

    machines: list[str] = Field(description="where it was")
    tool: str
    name: str
    basis: str = Field(description="what the life counts: count, time or distance")
    unit: str = Field(description="of used and limit: 1, s or m")
    limit: float | None = Field(description="the newest told")


class EndsShape(Shape):
    """Whole lives by how they ended."""

    at_limit: int = Field(description="at 95 % of the limit or past it")
    failed: int = Field(description="broken, or locked before the limit")
    early: int = Field(description="set back before the limit, nobody told why")
    removed: int = Field(description="another tool came into the pot before the limit")
    unknown: int = Field(description="no limit was told")


class FitShape(Shape):
    """The Weibull law of the lives, with 95 % intervals; null where there are not enough failures."""

    state: Literal["fitted", "not_enough_data"]
    failures: int
    censored: int = Field(description="lives known to have lasted at least so long")
    shape: float | None = Field(description="above 1: failures become more frequent with use")
    shape_low: float | None
    shape_high: float | None
    scale: float | None = Field(description="use that 37 % of the tools outlast")
    scale_low: float | None
    scale_high: float | None


class HistoryRow(ToolKindShape):
    """The history of one tool type; null is: not known."""

    lives: int = Field(description="that began in the span: open, not whole, and ended")
    open: int
    not_whole: int = Field(description="their beginning was not seen; they enter nothing else")
    ends: EndsShape
    broken: int = Field(description="of the failed ones those that an alarm tells of")
    used_minimum: float | None = Field(description="of whole, ended lives, as the following")
    used_p10: float | None
    used_median: float | None
    used_p90: float | None
    used_maximum: float | None
    given_up: FigureShape = Field(description="Σ of life left at the end ÷ Σ of limits")
    survival_to_limit_pct: float | None
    survival_to_limit_low_pct: float | None = Field(description="95 % interval")
    survival_to_limit_high_pct: float | None
    fit: FitShape


class Histories(SpanShape):
    """Tool types by machine and tool number."""

    items: list[HistoryRow]


@dataclass(frozen=True, slots=True)
class KnownKind:
    """One tool type with its history and fit."""

    key: KindKey
    machines: list[str]
    history: History
    fit: Fit | None


@router.get("/tool-history", response_model=Histories, responses=OPENAPI)
def list_histories(
    room: InRoom,
    asked: AskedYear,
    reply: Replying,
    by: Together = "machine",
    early: Early = "censored",
    machine: MachineName = None,
    cell: CellName = None,
) -> Any:
    """The history of each tool type: lives that began in the span."""
    chosen = [m.id for m in room.machines(machine, cell)]
    rows = [history_row(kind) for kind in known_kinds(room, asked, chosen, by == "machine", early == "failure")]
    return reply.listing(HistoryRow, rows, **span_fields(room, asked))


def known_kinds(
    room: Room, asked: Asked, machines: Sequence[str], apart: bool, early_fails: bool
) -> Iterator[KnownKind]:
    """The tool types of these machines, each machine's apart or all together."""
    lives: list[ToolLife] = []
    broken: set[LifeKey] = set()
    for machine in machines:
        overlapping = room.queries.facts(ToolLife, machine, *asked.interval)
        begun = [life for life in overlapping if life.start_us >= asked.start_us]
        broken |= broken_lives(begun, breakages(room, asked, machine))
        lives += begun
    for key, alike in by_kind(lives, apart).items():
        found = history(alike, broken, early_fails)
        yield KnownKind(key, sorted({life.machine for life in alike}), found, fit(found.lifetimes))


def breakages(room: Room, asked: Asked, machine: str) -> list[Breakage]:
    """The alarms of the span that tell of a broken tool."""
    marks = room.plant.tool_changes.breakage_alarms
    alarms = room.queries.facts(Alarm, machine, *asked.interval)
    starts = [alarm.start_us for alarm in alarms if tells_breakage(alarm, marks)]
    return [Breakage(machine, at_us, _broken_tool(room, machine, at_us)) for at_us in starts]


def _broken_tool(room: Room, machine: str, at_us: int) -> str:
    # a breakage may abort the cycle in the instant of its alarm
    cycles = room.queries.facts(Cycle, machine, at_us - 1, at_us + 1)
    return tool_at(cycles[0], at_us) if cycles else ""


def kind_fields(kind: KnownKind) -> dict[str, Any]:
    """The members of ToolKindShape."""
    _, tool, name, basis = kind.key
    return {
        "machines": kind.machines,
        "tool": tool,
        "name": name,
        "basis": basis,
        "unit": UNITS.get(basis, ""),
        "limit": kind.history.limit,
    }


def history_row(kind: KnownKind) -> HistoryRow:
    """The history of a tool type as sent."""
    found = kind.history
    used = found.achieved
    low, median, high = (quantile(used, p) if used else None for p in (0.1, 0.5, 0.9))
    reach = survival_to(found.lifetimes, found.limit) if found.limit else None
    survival, least, most = reach or (None, None, None)
    return HistoryRow(
        **kind_fields(kind),
        lives=found.lives,
        open=found.open,
        not_whole=found.not_whole,
        ends=EndsShape(**found.ends),
        broken=found.broken,
        used_minimum=used[0] if used else None,
        used_p10=low,
        used_median=median,
        used_p90=high,
        used_maximum=used[-1] if used else None,
        given_up=figure(found.given_up, UNITS.get(kind.key[3], "")),
        survival_to_limit_pct=percent(survival),
        survival_to_limit_low_pct=percent(least),
        survival_to_limit_high_pct=percent(most),
        fit=_fit(kind),
    )


def _fit(kind: KnownKind) -> FitShape:
    lifetimes, found = kind.history.lifetimes, kind.fit
    shape_low, shape_high = found.shape_interval if found else (None, None)
    scale_low, scale_high = found.scale_interval if found else (None, None)
    return FitShape(
        state="fitted" if found else "not_enough_data",
        failures=kind.history.failures,
        censored=len(lifetimes) - kind.history.failures,
        shape=found.law.shape if found else None,
        shape_low=shape_low,
        shape_high=shape_high,
        scale=found.law.scale if found else None,
        scale_low=scale_low,
        scale_high=scale_high,
    )
