"""What a machine is at: the cycle that runs and how long it has to go, its lot, and the target of its shift."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from math import ceil

from swarfline.facts import Cycle
from swarfline.measure.lots import UNLIKELY, LotMade, ToolInLot, lot_forecast
from swarfline.measure.pace import Pace
from swarfline.measure.prospect import Reach
from swarfline.measure.trend import by_program, cycle_trend
from swarfline.serve.assemble import Assembly
from swarfline.serve.lots import lot_now
from swarfline.serve.page import words
from swarfline.serve.page.ribbon import bar
from swarfline.serve.presence import Presence
from swarfline.serve.spans import Asked
from swarfline.serve.tongue import gettext as _

Usual = Mapping[tuple[str, str], int]
"""Median time of the steady cycles, µs, by program and part."""


def usual_times(cycles: Iterable[Cycle]) -> dict[tuple[str, str], int]:
    """How long the cycles of each program and part take, as a rule."""
    found = {}
    for (_machine, program, part), group in by_program(list(cycles)).items():
        median_s = cycle_trend(group).median_s
        if median_s is not None:
            found[program, part] = round(median_s * 1_000_000)
    return found


def left_cells(seen: Presence, usual: Usual, now_us: int) -> dict[str, str]:
    """Time left of the running cycle as words, and its passed share as a bar; unknown stays unknown."""
    running, name = seen.running, seen.machine
    if running is None or not seen.linked:
        left = _("no cycle runs") if seen.linked else words.UNKNOWN
        return {f"{name}.left": left, f"{name}.passed": bar(None)}
    passed = max(0, now_us - running.start_us)
    whole = usual.get((running.program, running.part))
    if whole is None:
        return {f"{name}.left": words.UNKNOWN, f"{name}.passed": bar(None)}
    if passed > whole:
        text = _("%s longer than usual") % words.stopwatch(passed - whole)
    else:
        text = _("about %s left") % words.stopwatch(whole - passed)
    return {f"{name}.left": text, f"{name}.passed": bar(passed / whole)}


@dataclass(frozen=True, slots=True)
class Aim:
    """A lot or a target: what is wanted, made and left, and when it will be done.

    ``tool``: the first tool that will not last so long, empty for none, and where it is not known of all.
    """

    name: str
    part: str
    wanted: str
    made: str
    left: str
    done: str
    between: str
    share: float | None
    by_shift_end: str
    told: bool = False
    ahead: str = ""
    tool: str = ""


def lot_aim(work: Assembly, machine: str) -> Aim | None:
    """The lot that is made now; None where the machine names none."""
    lot = lot_now(work, machine)[0]
    if not lot.lot:
        return None
    return _aim(work, machine, lot, lot.lot)


def target_aim(work: Assembly, machine: str, asked: Asked, pace: Pace) -> Aim | None:
    """The target of a shift or day, told or by plan; None where there is none."""
    if pace.target is None:
        return None
    made = LotMade("", work.part_now(machine), ceil(pace.target), pace.made)
    return _aim(work, machine, made, asked.name, pace.told, words.signed(pace.ahead))


def _aim(work: Assembly, machine: str, made: LotMade, name: str, told: bool = False, ahead: str = "") -> Aim:
    shift = work.room.calendar.shift_at(machine, work.now_us)
    tools = work.forecasts(machine)
    found = lot_forecast(made, work.prospect(machine), tools, shift.end_us if shift else None)
    share = made.made / made.size if made.size and made.made is not None else None
    done, between = _done(work, found.done)
    return Aim(
        name,
        made.part,
        words.number(made.size),
        words.number(made.made),
        words.number(made.left),
        done,
        between,
        share,
        found.by_shift_end or "",
        told,
        ahead,
        _first_tool(work, found.tools or ()),
    )


def _first_tool(work: Assembly, tools: Iterable[ToolInLot]) -> str:
    """The first tool that is expected to reach its limit before the lot is done, in words."""
    ending = [n.tool for n in tools if n.chance != UNLIKELY]
    if not ending:
        return ""
    first = min(ending, key=lambda tool: tool.cycles_left or 0)
    name = f"T{first.tool} {first.name}".strip()
    if not first.cycles_left:
        return _("%s is at its limit") % name
    told = {"tool": name, "time": words.clock(first.limit_at_us, work.room.zone, work.now_us)}
    return _("%(tool)s reaches its limit before that, about %(time)s") % told


def _done(work: Assembly, reach: Reach) -> tuple[str, str]:
    """When it will be done, and the interval of it, in words."""
    zone, now_us = work.room.zone, work.now_us
    if reach.cycles == 0:
        return _("done"), ""
    if reach.at_us is None:
        return words.UNKNOWN, ""
    low, high = (words.clock(us, zone, now_us) for us in (reach.at_low_us, reach.at_high_us))
    between = (
        "" if reach.at_low_us is None else _("8 of 10 between %(low)s and %(high)s") % {"low": low, "high": high}
    )
    return words.clock(reach.at_us, zone, now_us), between
