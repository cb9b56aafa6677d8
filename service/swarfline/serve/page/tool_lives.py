"""The tools of one machine: their lives now, the load over these lives, and what earlier lives achieved."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import ceil
from urllib.parse import urlencode

from swarfline.facts import Alarm, ToolLife
from swarfline.measure.forecast import ToolForecast
from swarfline.measure.lives import EARLY, FAILED, REMOVED, broken_lives, ending
from swarfline.measure.loads import RISING, STEADY, Load, LoadTrend
from swarfline.outlook import PresentLoads, present_loads
from swarfline.plant import Machine
from swarfline.serve.assemble import Assembly
from swarfline.serve.page import words
from swarfline.serve.page.choosing import Chosen
from swarfline.serve.page.ribbon import HEIGHT, WIDTH
from swarfline.serve.page.tools_due import by_pot, cycles_words, limit_words, warning_share
from swarfline.serve.room import Room
from swarfline.serve.times import show
from swarfline.serve.tongue import gettext as _
from swarfline.serve.tongue import ngettext
from swarfline.serve.tool_history import HistoryRow, breakages, history_row, known_kinds
from swarfline.serve.tool_replacement import ReplacementRow, replacement_row

MOST_POINTS = 250
"""Points of one picture of loads; of more, each n-th."""
AROUND_US = 30 * 60_000_000
"""So much time on either side of an end is shown with it."""
BEFORE_US = 10 * 60_000_000
"""What was over longer before an early end hardly led to it (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class LifeLine:
    """A tool now, in words; shares of the limit as bars."""

    tool: ToolForecast
    used: str
    limit: str
    cycles: str
    when: str
    warning_share: float | None


@dataclass(frozen=True, slots=True)
class LoadPicture:
    """The load of a tool and program over its life as paths in a box of WIDTH × HEIGHT, and in words."""

    life: ToolLife
    program: str
    trend: LoadTrend
    top_pct: float
    now: str
    before: str
    verdict: str


@dataclass(frozen=True, slots=True)
class Ended:
    """A tool life that ended in the span; ``around`` leads to that time, ``stood`` says what went on then."""

    life: ToolLife
    at: str
    used: str
    limit: str
    share: float | None
    how: str
    early: bool
    around: str
    stood: str


@dataclass(frozen=True, slots=True)
class Kind:
    """A tool type: its history and the replacement interval that it supports."""

    history: HistoryRow
    lives: str
    ends: str
    reach: str
    replacement: ReplacementRow


@dataclass(frozen=True, slots=True)
class MachineTools:
    """The page's content."""

    machine: Machine
    at: str
    lines: list[LifeLine]
    loads: list[LoadPicture]
    ended: list[Ended]
    kinds: list[Kind]
    currency: str | None


def tools_of(chosen: Chosen) -> MachineTools:
    """Tools of the one machine chosen; ended lives and history are those of the span."""
    room, machine = chosen.room, chosen.machines[0]
    now_us = room.now_us()
    work = Assembly(room, (now_us, now_us), now_us)
    forecasts = by_pot(work.forecasts(machine.id))
    return MachineTools(
        machine,
        words.moment(now_us, room.zone),
        [life_line(room, tool, now_us) for tool in forecasts],
        [_picture(found) for found in present_loads(room.queries, machine.id, now_us)],
        _ended(room, machine.id, chosen),
        list(_kinds(room, machine.id, chosen)),
        room.plant.figures.currency,
    )


def life_line(room: Room, tool: ToolForecast, now_us: int) -> LifeLine:
    """One tool in words."""
    return LifeLine(
        tool,
        words.life(tool.used, tool.basis),
        words.life(tool.limit, tool.basis),
        cycles_words(tool),
        limit_words(room, tool, now_us),
        warning_share(tool),
    )


def _ended(room: Room, machine: str, chosen: Chosen) -> list[Ended]:
    lives = room.queries.facts(ToolLife, machine, *chosen.asked.interval)
    broken = broken_lives(lives, breakages(room, chosen.asked, machine))
    ended = [n for n in lives if not n.open and chosen.asked.start_us < n.end_us <= chosen.asked.end_us]
    ended.sort(key=lambda n: -n.end_us)
    return [_ended_line(room, n, ending(n, n.key in broken), chosen.asked.now_us) for n in ended]


def _ended_line(room: Room, life: ToolLife, how: str, now_us: int) -> Ended:
    early = how in (EARLY, FAILED, REMOVED)
    return Ended(
        life,
        words.clock(life.end_us, room.zone, now_us),
        words.life(life.used, life.basis) + ("" if life.whole else " " + _("(beginning not seen)")),
        words.life(life.limit, life.basis),
        life.used / life.limit if life.limit else None,
        words.ending(how, life.used, life.limit),
        early,
        around(room, life.machine, life.end_us),
        _stood(room, life, now_us) if early else "",
    )


def around(room: Room, machine: str, at_us: int) -> str:
    """The machine's page about the time around a moment."""
    span = {"from": at_us - AROUND_US, "to": at_us + AROUND_US}
    asked = urlencode({name: show(us, room.zone) for name, us in span.items()})
    return f"/machines/{machine}?{asked}#timeline"


def _stood(room: Room, life: ToolLife, now_us: int) -> str:
    """What went on when a life ended early: the last alarm of then, else a long stop; may be empty."""
    span = (life.end_us - BEFORE_US, life.end_us + 1)
    alarms = room.queries.facts(Alarm, life.machine, *span)
    if alarms:
        last = alarms[-1]
        time = words.clock(last.start_us, room.zone, now_us)
        if not last.open:
            time += f"–{words.clock(last.end_us, room.zone, last.start_us)}"
        return _("alarm %(alarm)s, %(time)s") % {"alarm": f"{last.code} {last.text}".strip(), "time": time}
    found = [stop for stop in Assembly(room, span, now_us).stops(life.machine, span) if stop.long]
    if not found:
        return ""
    stop = found[-1]
    told = {
        "condition": words.condition(stop.condition),
        "reason": stop.reason or _("no reason known"),
        "time": words.clock(stop.start_us, room.zone, now_us),
    }
    return _("stop since %(time)s: %(condition)s, %(reason)s") % told


def _lives_words(found: HistoryRow) -> str:
    """What became of the lives of a type, so that it adds up to all of them; without what none of them did."""
    ended = sum(found.ends.model_dump().values())
    told = (
        (ended, _("%s ended")),
        (found.open, _("%s in use")),
        (found.not_whole, _("%s whose beginning was not seen")),
    )
    return ", ".join(text % words.number(count) for count, text in told if count)


def _ends_words(found: HistoryRow) -> str:
    """How the ended lives of a type ended, without what none of them did."""
    ends = found.ends
    told = (
        (ends.at_limit, _("%s at or near the limit")),
        (ends.failed, _("%s broken or locked before it")),
        (ends.early, _("%s set back before it")),
        (ends.removed, _("%s taken out before it")),
        (ends.unknown, _("%s with no limit known")),
    )
    return ", ".join(text % words.number(count) for count, text in told if count) or words.UNKNOWN


def _kinds(room: Room, machine: str, chosen: Chosen) -> Iterator[Kind]:
    costs = room.plant.tool_changes
    for kind in known_kinds(room, chosen.asked, [machine], True, False):
        found = history_row(kind)
        yield Kind(
            found,
            _lives_words(found),
            _ends_words(found),
            _reach_words(found, len(kind.history.lifetimes)),
            replacement_row(kind, costs.planned_cost, costs.unplanned_cost),
        )


def _reach_words(found: HistoryRow, count: int) -> str:
    """By how many lives the share that reaches the limit is told, and how sure it is."""
    told = ngettext("by %(num)s life", "by %(num)s lives", count) % {"num": words.number(count)}
    low, high = found.survival_to_limit_low_pct, found.survival_to_limit_high_pct
    if low is None or high is None:
        return told
    edges = {"low": words.percent(low / 100, 0), "high": words.percent(high / 100, 0)}
    return told + ": " + _("95 %% interval %(low)s to %(high)s") % edges


def _picture(found: PresentLoads) -> LoadPicture:
    every = [load for loads in (found.loads, *found.before) for load in loads]
    top = float(ceil(max((load.mean for load in every), default=0.0) * 1.1)) or 1.0
    earlier = [load for loads in found.before for load in loads]
    trend = found.trend
    return LoadPicture(
        found.life, found.program, trend, top, dots(found.loads, top), dots(earlier, top), _verdict(trend)
    )


def _verdict(trend: LoadTrend) -> str:
    if trend.sign == RISING:
        return _("rising: %s above what is usual at this share of life") % words.percent(trend.rise)
    if trend.sign == STEADY:
        return _("steady")
    return _("cannot be told yet")


def dots(loads: Sequence[Load], top: float) -> str:
    """Mean loads over the share of life as the path of small squares."""
    every = max(1, len(loads) // MOST_POINTS)
    drawn: list[str] = []
    for load in loads[::every]:
        x = min(max(load.at, 0.0), 1.0) * (WIDTH - 6)
        y = (1 - min(load.mean / top, 1.0)) * (HEIGHT - 1)
        drawn.append(f"M{x:.4g} {y:.3g}h6v1h-6z")
    return "".join(drawn)
