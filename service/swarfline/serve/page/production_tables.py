"""What the production page lists: machines compared, losses and reasons ranked, the course of the span."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from urllib.parse import quote, urlencode

from swarfline.measure.elements import NOT_PRODUCING
from swarfline.measure.losses import SCRAP_PARTS, SLOW_RUNNING
from swarfline.plant import Machine
from swarfline.serve.losses import LossRow
from swarfline.serve.oee import OeeRow
from swarfline.serve.page import amounts, cycles, timeline_view
from swarfline.serve.page.amounts import Amount
from swarfline.serve.page.choosing import Chosen, piece_words
from swarfline.serve.page.production_ladder import strip, strip_scale
from swarfline.serve.page.production_sides import FINE_US, MachineSide, Side, pieces_of
from swarfline.serve.page.ribbon import HEIGHT, WIDTH
from swarfline.serve.times import show

SORTS = ("machine", "oee", "availability", "effectiveness", "quality_ratio", "ahead", "lost")
MOST_RANKED = 12
PATH, STOPS_PATH = "/production", "/production/stops"


@dataclass(frozen=True, slots=True)
class MachineLine:
    """One machine in the comparison."""

    found: MachineSide
    strip: tuple[tuple[str, str], ...]
    worst: LossRow | None
    lost_s: float
    before: OeeRow | None


@dataclass(frozen=True, slots=True)
class Ranked:
    """A loss of one machine, or a reason; ``share`` is of the largest, for the bar."""

    title: str
    machine: Machine | None
    amount: Amount
    css: str
    share: float | None
    address: str
    times: int | None = None


@dataclass(frozen=True, slots=True)
class Column:
    """A day, shift or week of the span; ``path`` in a box of WIDTH × HEIGHT."""

    title: str
    row: OeeRow
    address: str
    path: str


def stops_address(chosen: Chosen, **told: str | None) -> str:
    """The list of stops of the span chosen, or of the end of one that is too long for it."""
    start, end = chosen.asked.interval
    if end - start > FINE_US:
        told["from"] = _since(chosen, FINE_US)
    return replace(chosen, path=STOPS_PATH, more=()).address(**told)


def cycles_address(chosen: Chosen, machine: str) -> str:
    """The cycles of a machine in the span chosen."""
    return _end_of(chosen, f"/machines/{quote(machine)}/cycles", cycles.LONGEST_US)


def machine_address(chosen: Chosen, machine: str) -> str:
    """The page of a machine in the span chosen."""
    return _end_of(chosen, f"/machines/{quote(machine)}", timeline_view.LONGEST_US)


def _end_of(chosen: Chosen, path: str, longest_us: int) -> str:
    """Another page about the span chosen, or about the end of one that is longer than that page can show."""
    return f"{path}?{urlencode({**chosen.moments, 'from': _since(chosen, longest_us)})}"


def _since(chosen: Chosen, longest_us: int) -> str:
    start, end = chosen.asked.interval
    return show(max(start, end - longest_us), chosen.room.zone)


def machine_lines(now: Side, then: Side | None, sort: str) -> list[MachineLine]:
    """The machines on one scale, in the order of one of SORTS."""
    scale = strip_scale([m.losses for m in now.machines])
    before = {} if then is None else {m.machine.id: m.row for m in then.machines}
    lines = [
        MachineLine(m, strip(m.losses, scale), _worst(m.losses), _lost_s(m.losses), before.get(m.machine.id))
        for m in now.machines
    ]
    return sorted(lines, key=_sort_key(sort)) if sort != "machine" else lines


def _sort_key(sort: str) -> Callable[[MachineLine], tuple[bool, float]]:
    """The worst first, what is not known last."""

    def key(line: MachineLine) -> tuple[bool, float]:
        if sort == "ahead":
            value = line.found.pace.ahead
        elif sort == "lost":
            value = -_lost_s(line.found.losses)
        else:
            value = getattr(line.found.row.figures, sort).value
        return value is None, value or 0.0

    return key


def _lost_s(rows: list[LossRow]) -> float:
    return sum(row.time_s for row in rows if _is_loss(row))


def _is_loss(row: LossRow) -> bool:
    return row.loss in (*NOT_PRODUCING, SCRAP_PARTS, SLOW_RUNNING) and row.time_s > 0


def _worst(rows: list[LossRow]) -> LossRow | None:
    return max((row for row in rows if _is_loss(row)), key=lambda row: row.time_s, default=None)


def ranked(now: Side, unit: str) -> list[Ranked]:
    """The largest losses of single machines, in one of UNITS."""
    found = [(m.machine, row, Amount.of([row])) for m in now.machines for row in m.losses if _is_loss(row)]
    found.sort(key=lambda entry: -(entry[2].value(unit) or 0.0))
    most = max((a.value(unit) or 0.0 for *_, a in found), default=0.0)
    return [
        Ranked(
            amounts.loss_words(row.loss, row.length),
            machine,
            amount,
            f"c-{row.loss}",
            _part_of(amount, unit, most),
            _address(now.chosen, machine.id, row),
        )
        for machine, row, amount in found[:MOST_RANKED]
    ]


def _part_of(amount: Amount, unit: str, most: float) -> float | None:
    value = amount.value(unit)
    return None if value is None or not most else value / most


def _address(chosen: Chosen, machine: str, row: LossRow) -> str:
    """What a loss of a machine is made of."""
    if row.loss == SLOW_RUNNING:
        return cycles_address(chosen, machine)
    if row.loss == SCRAP_PARTS:
        return chosen.address(machine=machine, cell=None) + "#parts"
    return stops_address(chosen, machine=machine, cell=None, condition=row.loss, length=row.length or None)


def reasons(now: Side, unit: str) -> list[Ranked]:
    """The reasons of stops, those that cost most first; none where single stops were not read."""
    if now.reasons is None:
        return []
    rows = [(row, Amount.of([row])) for row in now.reasons if row.reason is not None and row.time_s]
    rows.sort(key=lambda entry: -(entry[1].value(unit) or 0.0))
    most = max((amount.value(unit) or 0.0 for _, amount in rows), default=0.0)
    stops = [s.reason for m in now.chosen.machines for s in now.work.stops(m.id, now.work.span)]
    return [
        Ranked(
            amounts.loss_words(row.loss, reason=row.reason),
            None,
            amount,
            "c-stays",
            _part_of(amount, unit, most),
            stops_address(now.chosen, **({"reason": row.reason} if row.reason else {"named": "no"})),
            stops.count(row.reason or ""),
        )
        for row, amount in rows[:MOST_RANKED]
    ]


def columns(now: Side) -> tuple[str, list[Column], float]:
    """Into what the span is cut, its pieces as columns, and the OEE that the highest one may have."""
    by, rows = pieces_of(now)
    top = max([1.0, *(row.figures.oee.value or 0.0 for row in rows)])
    width = WIDTH / max(1, len(rows))
    return by, [_column(now.chosen, by, row, n * width, width, top) for n, row in enumerate(rows)], top


def _column(chosen: Chosen, by: str, row: OeeRow, left: float, width: float, top: float) -> Column:
    path = _bar(left, width, (row.figures.oee.value or 0.0) / top)
    return Column(piece_words(chosen.room, by, row), row, _piece_address(chosen, by, row), path)


def _bar(left: float, width: float, share: float) -> str:
    return f"M{left + width * 0.12:.5g} {HEIGHT}v{-HEIGHT * share:.5g}h{width * 0.76:.5g}V{HEIGHT}Z"


def _piece_address(chosen: Chosen, by: str, row: OeeRow) -> str:
    return chosen.address(**{"span": by, "at": row.from_, "from": None, "to": None})
