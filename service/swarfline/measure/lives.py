"""Tool history: what lives were achieved, how they ended, and how much of them was given up.

One population is one tool type: tool number, name and life basis. The lives looked at are those that began in the
span: a choice by the beginning takes long and short lives alike, where one by the end or the overlap would prefer
long ones. A life whose beginning was not seen is counted and left out, for it is known only because it had lasted
until then; an open one is known to have lasted so long at least (right-censored).
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from math import fsum
from typing import NamedTuple

from swarfline.facts import Alarm, Cycle, ToolLife
from swarfline.figures import Figure
from swarfline.measure.definition import OURS, TYPE_7, Definition
from swarfline.measure.survival import KAPLAN_MEIER, Lifetime

AT_LIMIT, FAILED, EARLY, REMOVED, UNKNOWN = "at_limit", "failed", "early", "removed", "unknown"
ENDS = (AT_LIMIT, FAILED, EARLY, REMOVED, UNKNOWN)
"""How a life ended: see ``ending``."""

AT_LIMIT_SHARE = 0.95
"""From this share of the limit on a change counts as one at the limit: what is left would seldom do for another
cycle, and tools that are near it are changed along with one that is due (common practice, no source)."""

BREAKAGE_WINDOW_US = 72 * 3_600_000_000
"""A broken tool is replaced within so long, a weekend included; else the alarm was a false one."""

LifeKey = tuple[str, str, int]
KindKey = tuple[str, str, str, str]
"""(machine, or empty for all of them; tool; name; basis)"""


class Breakage(NamedTuple):
    """An alarm that tells of a broken tool; ``tool`` is the one in the spindle, empty when not known."""

    machine: str
    time_us: int
    tool: str = ""


def tells_breakage(alarm: Alarm, marks: Iterable[str]) -> bool:
    """Whether an alarm tells of a broken tool: a mark is its code, or stands in its text (case aside)."""
    text = alarm.text.casefold()
    return any(mark == alarm.code or mark.casefold() in text for mark in marks)


def tool_at(cycle: Cycle, at_us: int) -> str:
    """The tool that was last in the spindle by then in a cycle; empty when none was told."""
    until_us = at_us - cycle.start_us
    return next((piece.tool for piece in reversed(cycle.strip) if piece.tool and piece.offset_us <= until_us), "")


def broken_lives(lives: Sequence[ToolLife], breakages: Iterable[Breakage]) -> set[LifeKey]:
    """Keys of the lives that breakages ended.

    That is the first life of the broken tool to end after the alarm; where the tool is not known, the only life
    of the machine to end before its limit then. At most ``BREAKAGE_WINDOW_US`` may lie between.
    """
    found = (_broken(lives, breakage) for breakage in breakages)
    return {life.key for life in found if life is not None}


def _broken(lives: Sequence[ToolLife], breakage: Breakage) -> ToolLife | None:
    at = breakage.time_us
    near = [
        life
        for life in lives
        if life.machine == breakage.machine
        and not life.open
        and life.start_us <= at < life.end_us <= at + BREAKAGE_WINDOW_US
    ]
    if breakage.tool:
        return min((n for n in near if n.tool == breakage.tool), key=lambda n: n.end_us, default=None)
    early = [n for n in near if not _reached(n)]
    return early[0] if len(early) == 1 else None


def _reached(life: ToolLife) -> bool:
    return bool(life.limit) and life.used >= AT_LIMIT_SHARE * (life.limit or 0)


def ending(life: ToolLife, broken: bool = False) -> str:
    """How an ended life ended.

    ``failed``: a breakage, or locked by the control before the limit. ``at_limit``: at 95 % of the limit or past
    it. ``removed``: another tool in the pot before that; the tool may live on elsewhere. ``early``: the used value
    was set back before that. ``unknown``: no limit was told.
    """
    if broken:
        return FAILED
    if not life.limit:
        return UNKNOWN
    if _reached(life):
        return AT_LIMIT
    if life.locked:
        return FAILED
    return REMOVED if life.reason == "replaced" else EARLY


@dataclass(frozen=True, slots=True)
class History:
    """The lives of one tool type that began in a span; used and limit in 1, s or m by basis.

    ``lives`` = ``open`` + ``not_whole`` + Σ ``ends``; ``ends`` and ``achieved`` (sorted) are of ended ones.
    ``broken``: the failed ones that an alarm tells of. ``limit`` is the newest told. ``lifetimes`` are
    what a survival estimate takes: whole lives, open ones included, that used anything.
    """

    lives: int
    open: int
    not_whole: int
    ends: dict[str, int]
    broken: int
    achieved: tuple[float, ...]
    limit: float | None
    given_up: Figure
    lifetimes: tuple[Lifetime, ...]

    @property
    def failures(self) -> int:
        """Lives known to have failed."""
        return sum(lifetime.failed for lifetime in self.lifetimes)


def by_kind(lives: Iterable[ToolLife], apart: bool = True) -> dict[KindKey, list[ToolLife]]:
    """Lives by tool type, machines apart or together; in the order of machine and tool."""
    groups: dict[KindKey, list[ToolLife]] = {}
    for life in lives:
        key = (life.machine if apart else "", life.tool, life.name, life.basis)
        groups.setdefault(key, []).append(life)
    return {key: groups[key] for key in sorted(groups, key=_order)}


def _order(key: KindKey) -> tuple[str, bool, int, str, KindKey]:
    machine, tool, *_ = key
    number = int(tool) if tool.isascii() and tool.isdigit() else -1
    return machine, number < 0, number, tool, key


def history(lives: Sequence[ToolLife], broken: Collection[LifeKey] = (), early_fails: bool = False) -> History:
    """History of the lives of one tool type; ``broken``: keys of those that a breakage ended.

    A failed life is a failure; one at the limit, removed, of unknown end or open is censored, that is, it would
    have lasted longer. So is an early one, unless ``early_fails`` says that people change early only what is worn.
    """
    known = sorted(lives, key=lambda n: n.start_us)
    whole = [n for n in known if n.whole]
    ended = [n for n in whole if not n.open]
    hows = {n.key: ending(n, n.key in broken) for n in ended}
    fails = (FAILED, EARLY) if early_fails else (FAILED,)
    return History(
        lives=len(known),
        open=sum(n.open for n in whole),
        not_whole=len(known) - len(whole),
        ends={how: sum(h == how for h in hows.values()) for how in ENDS},
        broken=sum(n.key in broken for n in ended),
        achieved=tuple(sorted(n.used for n in ended)),
        limit=next((n.limit for n in reversed(known) if n.limit), None),
        given_up=given_up(ended),
        lifetimes=tuple(Lifetime(n.used, hows.get(n.key) in fails) for n in whole if n.used > 0),
    )


def given_up(ended: Iterable[ToolLife]) -> Figure:
    """Σ (limit − used, where positive) ÷ Σ limit of ended lives that had a limit."""
    limited = [(n.used, n.limit) for n in ended if n.limit]
    left = fsum(max(0.0, limit - used) for used, limit in limited)
    return Figure("life_given_up", left if limited else None, fsum(limit for _, limit in limited))


FIGURES = (
    Definition("life_achieved", "used at the end of whole lives", "1, s or m", "what a tool lasts here", OURS),
    Definition("life_quantiles", "P10, P50, P90 of life_achieved", "1, s or m", "its spread", TYPE_7),
    Definition("life_ends", "lives by how they ended", "1", "at the limit, failed, early, removed, unknown", OURS),
    Definition("life_given_up", "Σ max(0, limit − used) ÷ Σ limit", "1", "share of the lives not used", OURS),
    Definition(
        "survival_to_limit",
        "Π (1 − failures ÷ at risk) up to the limit",
        "1",
        "share of tools that reach their limit",
        KAPLAN_MEIER,
    ),
)
