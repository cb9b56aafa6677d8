"""What each rule looks at in one machine: facts and figures from the store, settings from the plant file."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from functools import cached_property
from typing import Any, TypeVar

from swarfline.alerts import Sighting
from swarfline.calendar import Calendar, ShiftSpan, subtract, total
from swarfline.entries import Entry, Judgement, Target, standing
from swarfline.facts import PRODUCING, TOTAL, UNOBSERVED, Condition, Count, ToolLife
from swarfline.measure.drift import drifts
from swarfline.measure.forecast import ToolForecast
from swarfline.measure.judgements import judged
from swarfline.measure.loads import RISING, UNKNOWN
from swarfline.measure.lots import LIKELY, YES, LotForecast, LotMade, lot_forecast
from swarfline.measure.newest import newest_parts
from swarfline.measure.production import Quantities
from swarfline.measure.prospect import Prospect, Reach
from swarfline.measure.stops import Stop, stops
from swarfline.outlook import PresentLoads, machine_prospect, parts_counted, present_loads, running_lot, tool_list
from swarfline.plant import Machine, Plant
from swarfline.plant.alerts import (
    DriftTable,
    LifeResetTable,
    LoadRisingTable,
    LotTable,
    NearLimitTable,
    OutOfSightTable,
    PastLimitTable,
    RuleTable,
    ScrapTable,
    StoppedTable,
    Where,
)
from swarfline.store import Queries
from swarfline.watch.rules import (
    cycle_time_drifted,
    lot_will_not_finish,
    machine_out_of_sight,
    machine_stopped_longer,
    scrap_rate,
    tool_life_reset,
    tool_load_rising,
    tool_near_limit,
    tool_past_limit,
)
from swarfline.watch.wording import InPot

Seen = tuple[Sighting, RuleTable]
"""What a rule sees of a subject, and the settings that hold for it."""

LONGEST_STOP_US = 7 * 86_400_000_000
"""A stop that began earlier counts from then on."""
DAY_US = 86_400_000_000

R = TypeVar("R", bound=RuleTable)


class MachineView:
    """One machine at one moment; what several rules ask for is read once, and only if one asks.

    ``connected_us``: since when its server is connected; None: it is not, or that is not known. ``begun_us`` is
    when watching began, for what was never heard of.
    """

    def __init__(
        self, plant: Plant, queries: Queries, calendar: Calendar, machine: Machine, now_us: int,
        connected_us: int | None, begun_us: int,
    ) -> None:  # fmt: skip
        self.plant, self.queries, self.calendar = plant, queries, calendar
        self.machine, self.id, self.now_us = machine, machine.id, now_us
        self.connected_us, self.begun_us = connected_us, begun_us
        self.server = plant.server_of(machine.id).id

    def settings(self, kind: type[R], tool: str = "") -> R:
        """A rule's settings for this machine, or a tool in it."""
        return self.plant.alerts.settings(kind, Where(self.id, self.machine.cell or "", self.server, tool))

    def planned_us(self, start_us: int) -> int:
        """Planned time from a moment up to now."""
        return total(self.calendar.planned(self.id, start_us, self.now_us)) if start_us < self.now_us else 0

    @cached_property
    def told(self) -> dict[str, Any]:
        """The present picture, empty for a machine that was never heard of."""
        return self.queries.now(self.id) or {}

    @property
    def condition(self) -> str:
        """What it is doing now."""
        return str(self.told["condition"]) if self.told.get("linked") else UNOBSERVED

    @cached_property
    def prospect(self) -> Prospect:
        """What it makes and how fast."""
        return machine_prospect(self.queries, self.calendar, self.id, self.now_us)

    @cached_property
    def forecasts(self) -> list[ToolForecast]:
        """Of the tools in it."""
        return tool_list(self.queries, self.id, self.prospect)

    @cached_property
    def shift(self) -> ShiftSpan | None:
        """The shift that runs."""
        return self.calendar.shift_at(self.id, self.now_us)

    @cached_property
    def lot(self) -> LotMade:
        """The running lot so far."""
        recent = self.prospect.recent
        part = (recent[-1].part if recent else "") or self.machine.part or ""
        values = self.told.get("values") or {}
        return running_lot(self.plant, self.queries, self.id, values, part, self.now_us).lot

    @cached_property
    def lot_ahead(self) -> LotForecast:
        """The running lot as forecast."""
        end_us = self.shift.end_us if self.shift else None
        return lot_forecast(self.lot, self.prospect, self.forecasts, end_us)

    @cached_property
    def stop(self) -> Stop | None:
        """The stop that goes on, with the planned time in it."""
        produced_us = self.queries.last_end_us(self.id, PRODUCING, self.now_us)
        start_us = max(produced_us or 0, self.now_us - LONGEST_STOP_US)
        conditions = self.queries.facts(Condition, self.id, start_us, self.now_us + 1)
        planned = self.calendar.planned(self.id, start_us, self.now_us)
        found = stops(conditions, planned, (start_us, self.now_us + 1), 1)
        return found[-1] if found and found[-1].open else None


def _near(view: MachineView) -> Iterator[Seen]:
    for tool in view.forecasts:
        table = view.settings(NearLimitTable, tool.tool)
        lot_cycles = view.lot_ahead.done.cycles if table.before_lot_end else None
        shift_end_us = view.shift.end_us if table.before_shift_end and view.shift else None
        yield tool_near_limit.see(tool, table, view.now_us, lot_cycles, shift_end_us), table


def _past(view: MachineView) -> Iterator[Seen]:
    for tool in view.forecasts:
        table = view.settings(PastLimitTable, tool.tool)
        yield tool_past_limit.see(tool, table), table


def _reset(view: MachineView) -> Iterator[Seen]:
    longest_h = max(table.stands_h for table in view.plant.alerts.everywhere(LifeResetTable))
    lives = view.queries.facts(ToolLife, view.id, view.now_us - round(longest_h * 3600e6), view.now_us + 1)
    ended = {(life.pot_key, life.tool, life.end_us): life for life in lives if life.reason == "reset"}
    for life in lives:
        before = ended.get((life.pot_key, life.tool, life.start_us))
        if life.open and before is not None:
            table = view.settings(LifeResetTable, life.tool)
            yield tool_life_reset.see(_reset_of(view, life, before, table), table, view.now_us), table


def _reset_of(view: MachineView, life: ToolLife, before: ToolLife, table: LifeResetTable) -> tool_life_reset.Reset:
    def reset(still_us: int | None) -> tool_life_reset.Reset:
        return tool_life_reset.Reset(
            life.machine, life.pot_key, life.tool, life.name, life.pot, before.basis, before.used, before.limit,
            life.start_us, still_us,
        )  # fmt: skip

    asked = tool_life_reset.early(reset(None), table)
    return reset(_still_us(view, life.start_us, round(table.within_min * 60e6)) if asked else None)


def _still_us(view: MachineView, at_us: int, near_us: int) -> int:
    """The longest time near a moment in which the machine did not produce, or was not seen to."""
    span = at_us - near_us, min(at_us + near_us, view.now_us)
    conditions = view.queries.facts(Condition, view.id, *span)
    still = subtract([span], [(c.start_us, c.end_us) for c in conditions if c.condition == PRODUCING])
    return max((end - start for start, end in still), default=0)


def _lot(view: MachineView) -> Iterator[Seen]:
    table = view.settings(LotTable)
    if table.enabled and table.by_shift_end:
        lot, done = view.lot, view.lot_ahead.done
        tools = [t.tool for t in view.lot_ahead.tools or () if t.chance in (YES, LIKELY)]
        end_us = view.shift.end_us if view.shift else None
        yield _ahead(view, lot_will_not_finish.LOT, lot.lot, lot.left, done, end_us, tools, table)
    if table.enabled and table.targets:
        told = standing(view.queries.entries(Target, view.id, view.now_us, view.now_us + 1))
        if told:
            yield _target(view, max(told, key=lambda entry: entry.number), table)


def _target(view: MachineView, entry: Entry, table: LotTable) -> Seen:
    """The target of now that was told last, as if it were a lot."""
    said = entry.said
    assert isinstance(said, Target)
    counts = _counts(view, entry.start_us)
    made = sum(c.quantity for c in counts if c.count_kind == TOTAL and c.part == (said.part or c.part))
    wanted = LotMade("", said.part, said.quantity, made)
    ahead = lot_forecast(wanted, view.prospect, view.forecasts, entry.end_us)
    tools = [t.tool for t in ahead.tools or () if t.chance in (YES, LIKELY)]
    return _ahead(view, lot_will_not_finish.TARGET, said.part, wanted.left, ahead.done, entry.end_us, tools, table)


def _ahead(
    view: MachineView, what: str, name: str, left: int | None, done: Reach, end_us: int | None,
    tools: Sequence[InPot], table: LotTable,
) -> Seen:  # fmt: skip
    beyond_us = None
    if done.at_us is not None and end_us is not None:
        late = view.calendar.planned(view.id, end_us, done.at_us) if done.at_us > end_us else []
        beyond_us = total(late)
    found = lot_will_not_finish.Ahead(view.id, what, name, left, done.at_us, end_us, beyond_us, tools)
    return lot_will_not_finish.see(found, table), table


def _stopped(view: MachineView) -> Iterator[Seen]:
    if not view.told:
        return
    condition, shift = view.condition, view.shift
    stop = view.stop if shift is not None and condition not in (PRODUCING, UNOBSERVED) else None
    table = view.settings(StoppedTable)
    seen = machine_stopped_longer.Standing(
        view.id,
        condition,
        view.told.get("since_us"),
        shift is not None,
        stop.by_condition if stop else {},
        stop.start_us if stop else None,
        (stop.alarm_text or stop.alarm_code) if stop else "",
    )
    yield machine_stopped_longer.see(seen, table, view.now_us), table


def _out_of_sight(view: MachineView) -> Iterator[Seen]:
    table = view.settings(OutOfSightTable)
    told, observed = view.told, view.condition != UNOBSERVED
    since_us = told.get("since_us" if told.get("condition") == UNOBSERVED else "at_us")
    dark_us = max(view.begun_us if since_us is None else since_us, view.connected_us or 0)
    sight = machine_out_of_sight.Sight(
        view.id,
        view.server,
        observed,
        view.connected_us is not None,
        view.shift is not None,
        since_us,
        0 if observed else view.planned_us(dark_us),
    )
    yield machine_out_of_sight.see(sight, table), table


def _load(view: MachineView) -> Iterator[Seen]:
    by_life: dict[Any, list[tool_load_rising.ToolLoad]] = {}
    for found in present_loads(view.queries, view.id, view.now_us):
        by_life.setdefault(found.life.key, []).append(_tool_load(found))
    for loads in by_life.values():
        load = tool_load_rising.worst(loads)
        table = view.settings(LoadRisingTable, load.tool)
        yield tool_load_rising.see(load, table), table


def _tool_load(found: PresentLoads) -> tool_load_rising.ToolLoad:
    life, trend = found.life, found.trend
    return tool_load_rising.ToolLoad(
        life.machine,
        life.pot_key,
        life.tool,
        life.name,
        life.pot,
        found.program,
        None if trend.sign == UNKNOWN else trend.sign == RISING,
        trend.rise,
        trend.now.mean if trend.now else None,
        trend.expected.mean if trend.expected else None,
    )


def _drift(view: MachineView) -> Iterator[Seen]:
    table = view.settings(DriftTable)
    for d in drifts(view.queries.last_cycles(view.id, table.cycles, view.now_us)):
        levels = cycle_time_drifted.Levels(view.id, d.program, d.part, d.before_s, d.now_s, d.since_us)
        yield cycle_time_drifted.see(levels, table), table


def _scrap(view: MachineView) -> Iterator[Seen]:
    table = view.settings(ScrapTable)
    of_shift = table.over == "shift"
    start_us = view.shift.start_us if of_shift and view.shift else view.now_us - DAY_US
    if of_shift and view.shift is None:
        return
    made = _made(view, start_us, None if of_shift else table.last_parts)
    yield scrap_rate.see(scrap_rate.Made(view.id, of_shift, made.total, made.scrap), table), table


def _made(view: MachineView, start_us: int, least: int | None) -> Quantities:
    """What was made since then, or the newest of it, with what people judged later."""
    entries = view.queries.entries(Judgement, view.id, start_us, view.now_us)
    counts = _counts(view, min([start_us, *(e.start_us for e in entries)]))
    corrections, _ = judged(counts, entries)
    return newest_parts(
        (c for c in counts if c.time_us >= start_us), (c for c in corrections if c.time_us >= start_us), least
    )


def _counts(view: MachineView, start_us: int) -> list[Count]:
    """Parts counted since then."""
    return parts_counted(view.plant, view.queries, view.id, (start_us, view.now_us + 1))


Look = Callable[[MachineView], Iterator[Seen]]

QUICK: dict[str, Look] = {
    tool_near_limit.NAME: _near,
    tool_past_limit.NAME: _past,
    tool_life_reset.NAME: _reset,
    lot_will_not_finish.NAME: _lot,
    machine_stopped_longer.NAME: _stopped,
    machine_out_of_sight.NAME: _out_of_sight,
}
"""Rules that are run at each look at a machine."""

SLOW: dict[str, Look] = {cycle_time_drifted.NAME: _drift, scrap_rate.NAME: _scrap}
"""Rules that read hours of facts."""

SELDOM: dict[str, Look] = {tool_load_rising.NAME: _load}
"""Rules that read whole lives of tools."""
