"""The picture of the losses: rung by rung from the planned time down to the good parts.

Each rung is a bar on one scale. A level shows what is left; a loss hangs at the place where it was lost, so that
its left edge stands over the next level. Long stops are drawn whole, short ones as a comb.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from swarfline.measure.elements import NOT_PRODUCING
from swarfline.measure.losses import GOOD_PARTS, LONG, SCRAP_PARTS, SHORT, SLOW_RUNNING
from swarfline.serve.losses import LossRow
from swarfline.serve.page.amounts import TIME, Amount, loss_words
from swarfline.serve.page.production_sides import Side
from swarfline.serve.page.ribbon import LEVEL, WIDTH
from swarfline.serve.tongue import gettext as _

STAYS, LOST, GAINED = "stays", "lost", "gained"
PLAN = ("planned", "unobserved")
"""Rungs that are known whatever was observed."""
TOOTH, SPACE = 3.0, 2.0
"""Widths of a comb's teeth and of what parts them, of WIDTH."""
HEIGHTS = {**LEVEL, "stays": (2, 24), SCRAP_PARTS: (8, 24), SLOW_RUNNING: (4, 24), "gained": (4, 24)}
"""Top and bottom of each kind of bar."""


@dataclass(frozen=True, slots=True)
class Rung:
    """One row of the picture; ``split`` holds its amounts in long and in short stops, ``share`` is of busy time.

    ``paths``: (class, SVG path) in a box of WIDTH × HEIGHT; none where the amount is not known in the unit.
    """

    key: str
    title: str
    kind: str
    amount: Amount
    share: float | None = None
    split: tuple[tuple[str, Amount], ...] = ()
    paths: tuple[tuple[str, str], ...] = ()
    before: Amount | None = None
    before_share: float | None = None


@dataclass(slots=True)
class _Climb:
    """The rungs so far and what is left at the last one."""

    left: Amount
    rungs: list[Rung] = field(default_factory=list)
    edges: list[tuple[Amount, Amount]] = field(default_factory=list)

    def stay(self, key: str, title: str) -> None:
        self.rungs.append(Rung(key, title, STAYS, self.left))
        self.edges.append((Amount(0.0, 0.0, 0.0), self.left))

    def gain(self, key: str, title: str, amount: Amount) -> None:
        rest = self.left + amount
        self.rungs.append(Rung(key, title, GAINED, amount))
        self.edges.append((self.left, rest))
        self.left = rest

    def lose(self, key: str, title: str, amount: Amount, split: tuple[tuple[str, Amount], ...] = ()) -> None:
        """A negative loss is drawn as a gain, and stays a negative loss in figures."""
        kind = GAINED if (amount.time_s or 0.0) < 0 else LOST
        rest = self.left - amount
        self.rungs.append(Rung(key, title, kind, amount, split=split))
        self.edges.append((self.left, rest) if kind == GAINED else (rest, self.left))
        self.left = rest


def ladder(side: Side, unit: str, other: Side | None = None) -> list[Rung]:
    """The rungs of one side, with the amounts of another one beside them."""
    climb = _climb(side, unit)
    busy_s = side.total.times.planned_busy_time_s
    rungs = [replace(rung, share=_share(rung, busy_s)) for rung in _drawn(climb, unit)]
    if other is None:
        return rungs
    known = {rung.key: rung for rung in _climb(other, unit).rungs}
    return [_joined(rung, known.get(rung.key), other) for rung in rungs]


def _joined(rung: Rung, then: Rung | None, other: Side) -> Rung:
    """Where nothing was observed, nothing is known but what was planned; a loss that is not there is none."""
    if not other.observed and rung.key not in PLAN:
        return replace(rung, before=Amount())
    if then is None:
        return replace(rung, before=Amount(0.0, 0.0, 0.0), before_share=0.0)
    return replace(rung, before=then.amount, before_share=_share(then, other.total.times.planned_busy_time_s))


def _share(rung: Rung, busy_s: float) -> float | None:
    whole = rung.key not in (*PLAN, "outside")
    return rung.amount.time_s / busy_s if whole and busy_s and rung.amount.time_s is not None else None


def _climb(side: Side, unit: str) -> _Climb:
    times, rows = side.total.times, side.losses
    climb = _Climb(Amount(times.planned_time_s))
    if unit == TIME:
        climb.stay("planned", _("planned time"))
        if times.unobserved_time_s:
            climb.lose("unobserved", _("unobserved"), Amount(times.unobserved_time_s))
        if times.producing_outside_time_s:
            climb.gain("outside", _("produced outside of it"), Amount(times.producing_outside_time_s))
    climb.left = Amount.of(rows)
    climb.stay("busy", _("planned and observed"))
    for condition in NOT_PRODUCING:
        mine = [row for row in rows if row.loss == condition]
        split = tuple((n, Amount.of(r for r in mine if r.length == n)) for n in (LONG, SHORT))
        if any(row.time_s for row in mine):
            told = split if any(row.length for row in mine) else ()
            climb.lose(condition, loss_words(condition), Amount.of(mine), told)
    climb.stay("production", _("producing"))
    _produced(climb, rows)
    return climb


def _produced(climb: _Climb, rows: Sequence[LossRow]) -> None:
    """From the producing time to good parts; without planned times it is not told apart."""
    found = {row.loss: row for row in rows}
    if GOOD_PARTS not in found:
        return
    slow = found[SLOW_RUNNING]
    if slow.time_s:
        climb.lose(SLOW_RUNNING, loss_words(SLOW_RUNNING), Amount.of([slow]))
    if found[SCRAP_PARTS].time_s:
        climb.lose(SCRAP_PARTS, loss_words(SCRAP_PARTS), Amount.of([found[SCRAP_PARTS]]))
    climb.left = Amount.of([found[GOOD_PARTS]])
    climb.stay(GOOD_PARTS, loss_words(GOOD_PARTS))


def _drawn(climb: _Climb, unit: str) -> list[Rung]:
    known = [edge.value(unit) for pair in climb.edges for edge in pair]
    most = max((edge for edge in known if edge is not None), default=0.0)
    if not most:
        return climb.rungs
    return [
        replace(rung, paths=_paths(rung, start.value(unit), end.value(unit), most, unit))
        for rung, (start, end) in zip(climb.rungs, climb.edges, strict=True)
    ]


def _paths(
    rung: Rung, start: float | None, end: float | None, most: float, unit: str
) -> tuple[tuple[str, str], ...]:
    if start is None or end is None:
        return ()
    left, right = WIDTH * start / most, WIDTH * end / most
    if rung.kind == STAYS:
        return (
            (f"c-{'producing' if rung.key in ('production', GOOD_PARTS) else 'stays'}", box("stays", left, right)),
        )
    if rung.kind == GAINED:
        return (("c-gained", comb("gained", left, right)),)
    short = dict(rung.split).get(SHORT, Amount(0.0, 0.0, 0.0)).value(unit) or 0.0
    meet = left + WIDTH * short / most
    return ((f"c-{rung.key}", box(rung.key, meet, right) + comb(rung.key, left, meet)),)


def box(kind: str, left: float, right: float) -> str:
    """A bar from ``left`` to ``right`` with the height of its kind; nothing where it has no length."""
    top, bottom = HEIGHTS[kind]
    return f"M{left:.5g} {top}H{right:.5g}V{bottom}H{left:.5g}Z" if right > left else ""


def comb(kind: str, left: float, right: float) -> str:
    """The same as a row of teeth; the last one ends where the bar does."""
    found, at = "", left
    while at < right:
        found += box(kind, at, min(at + TOOTH, right))
        at += TOOTH + SPACE
    return found


def strip(rows: Sequence[LossRow], scale: float) -> tuple[tuple[str, str], ...]:
    """One machine's losses in a row, from good parts to the stops; ``scale`` is the share that the box holds."""
    busy_s = rows[0].planned_busy_time_s if rows else 0.0
    if not busy_s:
        return ()
    place, found = 0.0, []
    order = ["producing", GOOD_PARTS, SCRAP_PARTS, SLOW_RUNNING, *NOT_PRODUCING]
    for kind in order:
        length = WIDTH * sum(row.time_s for row in rows if row.loss == kind) / busy_s / scale
        if length > 0:
            shape = "stays" if kind in ("producing", GOOD_PARTS) else kind
            css = "c-producing" if shape == "stays" else f"c-{kind}"
            found.append((css, box(shape, place, min(place + length, WIDTH))))
            place += length
    return tuple(found)


MOST_STRIP = 1.5
"""A machine that made more than this by plan must not press the others together; its strip is cut off."""


def strip_scale(machines: Sequence[Sequence[LossRow]]) -> float:
    """The share of busy time that the strips fit in: 1, more where a machine is faster than planned."""
    sums = (
        sum(row.time_s for row in rows if row.time_s > 0) / rows[0].planned_busy_time_s
        for rows in machines
        if rows and rows[0].planned_busy_time_s
    )
    return min(MOST_STRIP, max([1.0, *sums]))
