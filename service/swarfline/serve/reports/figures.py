"""The sections of the whole: OEE against the span before, and the way from planned time down to good parts."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import cached_property

from swarfline.measure.elements import NOT_PRODUCING
from swarfline.measure.losses import GOOD_PARTS, SCRAP_PARTS, SHORT, SLOW_RUNNING
from swarfline.report import BAR, NUMBER, Cell, Column, Row, Section, Segment
from swarfline.serve.assemble import Assembly
from swarfline.serve.losses import LossRow, loss_rows
from swarfline.serve.oee import OeeRow, is_known, oee_row
from swarfline.serve.page import amounts, words
from swarfline.serve.reports import cells
from swarfline.serve.reports.subject import OWN, Subject, span_title
from swarfline.serve.slices import Slice, slices
from swarfline.serve.tallied import Tallied
from swarfline.serve.tongue import gettext as _

DAY_US = 86_400_000_000
LONG_DAY_US = 25 * 3_600_000_000
WEEK_US = 7 * DAY_US + 3_600_000_000
"""A day and a week, each with the hour that a change of the clocks may add."""


class Work:
    """The facts of a report's span, read once for all of its sections."""

    def __init__(self, about: Subject) -> None:
        self.about = about
        self.room = about.room
        self.span = about.asked.interval
        self.facts = Assembly(about.room, self.span, about.asked.now_us)

    def name(self, machine: str) -> str:
        """How a machine is called; what is none is called by its id."""
        return next((m.name or m.id for m in self.room.plant.machines if m.id == machine), machine)

    def moment(self, us: int) -> Cell:
        """A time in the span, or near it: with its day where the span has more than one."""
        length = self.span[1] - self.span[0]
        near_us = self.span[0] if length <= LONG_DAY_US else us - DAY_US if length <= WEEK_US else us + DAY_US
        return cells.moment(us, self.room, near_us)

    @cached_property
    def whole(self) -> Slice:
        """All machines of the report together."""
        return slices(self.facts, "plant", self.about.machines)[0]

    @cached_property
    def by_machine(self) -> list[Slice]:
        """A slice for each machine."""
        return slices(self.facts, "machine", self.about.machines)

    @cached_property
    def oee(self) -> OeeRow:
        """OEE of all machines together, as the API has it."""
        return oee_row(self.facts, self.whole)

    @cached_property
    def machine_oee(self) -> dict[str, OeeRow]:
        """OEE by machine, as the API has it."""
        return {piece.key: oee_row(self.facts, piece) for piece in self.by_machine}

    @cached_property
    def oee_before(self) -> OeeRow | None:
        """OEE of the span before; None where there is none."""
        span = self.about.before
        if span is None:
            return None
        work = Tallied(self.room, span, self.about.asked.now_us)
        return oee_row(work, slices(work, "plant", self.about.machines)[0])


def overall(work: Work) -> Section:
    """OEE and its factors, and the good parts, each against the span before."""
    now, then = work.oee.figures, work.oee_before.figures if work.oee_before else None
    titles = {
        "oee": _("OEE"),
        "availability": _("Availability"),
        "effectiveness": _("Effectiveness"),
        "quality_ratio": _("Quality"),
    }
    rows = [
        Row(
            name,
            (
                cells.text(title),
                cells.ratio(getattr(now, name), note=True),
                cells.ratio(getattr(then, name), note=True) if then else cells.percent(None),
                cells.points(getattr(now, name), getattr(then, name) if then else None),
            ),
            strong=name == "oee",
        )
        for name, title in titles.items()
    ]
    columns = (
        Column("figure", _("Figure")),
        Column("value", _("Value"), NUMBER),
        Column("before", _("before"), NUMBER),
        Column("difference", _("points"), NUMBER),
    )
    return Section("oee", _("OEE"), columns, (*rows, _good(work)), _against(work), tiles=True)


def _good(work: Work) -> Row:
    now, then = _made(work.oee), _made(work.oee_before)
    return Row("good", (cells.text(_("Good parts")), now, then, _more(now, then)))


def _made(row: OeeRow | None) -> Cell:
    """The good parts of a span; where nothing was observed, none are not zero."""
    if row is None:
        return cells.count(None)
    good = row.parts.good if is_known(row) else None
    return Cell(words.number(good), good, "1", row.coverage_pct, cells.covered(row.coverage_pct))


def _more(now: Cell, then: Cell) -> Cell:
    """The difference of two counts, or why there is none to tell."""
    coverage = cells.least(now.coverage_pct, then.coverage_pct)
    if not (isinstance(now.value, int) and isinstance(then.value, int)):
        return Cell(words.UNKNOWN, None, "1", coverage)
    if not amounts.comparable(now.coverage_pct, then.coverage_pct):
        return Cell(words.UNKNOWN, None, "1", coverage, amounts.no_difference())
    return Cell(cells.signed(now.value - then.value), now.value - then.value, "1", coverage)


def _against(work: Work) -> str:
    about = work.about
    if about.before is None:
        return _("There is no span before to compare with.")
    told = _("Before: %s.") % span_title(about.room, about.kind if about.complete else OWN, about.before)
    if not about.complete:
        told += " " + _("This one is not over yet; it is compared with the same stretch of the one before.")
    if any(f.estimate for _name, f in work.oee.figures):
        told += " " + _("Estimate: a measured time stands in for a planned one.")
    return told


def cascade(work: Work) -> Section:
    """From planned time down to good parts: every loss where it takes its time away."""
    found = loss_rows(work.facts, work.whole, "condition")
    steps = list(_steps(work.oee, found))
    priced = any(row.money is not None for row in found)
    columns = [
        Column("time", _("What")),
        Column("bar", _("Drawn to scale"), BAR),
        Column("time_s", _("Time"), NUMBER),
        Column("share_pct", _("Share"), NUMBER),
        Column("parts", _("In parts"), NUMBER),
        *([Column("money", _("In money"), NUMBER)] if priced else []),
    ]
    rows = tuple(_cascade_row(work, step, priced) for step in steps)
    note = _("Times of all machines added up. Shares are of the time that was planned and observed.")
    note += " " + _("Combs: short stops, and what was gained.")
    if work.oee.coverage_pct is not None and work.oee.coverage_pct < 100:
        note += " " + _("%s of the planned time was observed.") % words.share(work.oee.coverage_pct / 100)
    kinds = dict.fromkeys(s.kind for step in steps for s in step.segments if s.start < s.end)
    legend = tuple((kind, amounts.loss_words(kind)) for kind in kinds if kind not in ("stays", "gained"))
    return Section("losses", _("From planned time to good parts"), tuple(columns), rows, note, legend=legend)


class _Step:
    """One line of the cascade: seconds from ``start`` to ``end`` of the scale, drawn as ``kind``."""

    def __init__(
        self, key: str, title: str, seconds: float, bounds: tuple[float, float], scale: float, kind: str,
        loss: LossRow | None = None, strong: bool = False,
    ) -> None:  # fmt: skip
        low, high = sorted(bounds)
        self.key, self.title, self.seconds, self.loss, self.strong = key, title, seconds, loss, strong
        comb = kind == "gained" or (loss is not None and loss.length == SHORT)
        self.segments = (Segment(max(0.0, low / scale), min(1.0, high / scale), kind, comb),)


def _steps(row: OeeRow, found: Sequence[LossRow]) -> Iterator[_Step]:
    times = row.times
    planned, unseen, outside = times.planned_time_s, times.unobserved_time_s, times.producing_outside_time_s
    busy, seen = times.planned_busy_time_s, times.planned_time_s - times.unobserved_time_s
    scale = max(planned, busy) or 1.0
    yield _Step("planned_time", _("planned time"), planned, (0, planned), scale, "stays", strong=True)
    if unseen:
        yield _Step("unobserved", words.condition("unobserved"), unseen, (seen, planned), scale, "unobserved")
    if outside:
        title = _("produced outside of it")
        yield _Step("producing_outside", title, outside, (seen, busy), scale, "gained")
    yield _Step("planned_busy_time", _("planned and observed"), busy, (0, busy), scale, "stays", strong=True)
    level = busy
    for loss in sorted(found, key=_place):
        if not loss.time_s or loss.loss in _LAST:
            continue
        bounds = (level - loss.time_s, level)
        key = f"{loss.loss}_{loss.length}".rstrip("_")
        level -= loss.time_s
        kind = loss.loss if loss.time_s > 0 else "gained"
        yield _Step(key, amounts.loss_words(loss.loss, loss.length), loss.time_s, bounds, scale, kind, loss)
    for loss in found:
        if loss.loss in _LAST:
            bounds = (0.0, loss.time_s)
            title = amounts.loss_words(loss.loss)
            yield _Step(loss.loss, title, loss.time_s, bounds, scale, loss.loss, loss, strong=True)


def _place(loss: LossRow) -> tuple[int, bool]:
    """As on the page of production: long stops before short ones, slow running before scrap."""
    order = (*NOT_PRODUCING, SLOW_RUNNING, SCRAP_PARTS, *_LAST)
    return order.index(loss.loss), loss.length == SHORT


_LAST = (GOOD_PARTS, "producing")
"""What is left in the end: good parts, or all producing time where a planned time is missing."""


def _cascade_row(work: Work, step: _Step, priced: bool) -> Row:
    loss, coverage = step.loss, work.oee.coverage_pct
    worth = [cells.money(loss.money, loss.currency) if loss else cells.blank()] if priced else []
    return Row(
        step.key,
        (
            cells.text(step.title, _("negative: faster than planned") if step.seconds < 0 else ""),
            cells.bar(step.segments),
            cells.hours(step.seconds, coverage),
            cells.percent(loss.share_pct, coverage) if loss else cells.blank(),
            Cell(amounts.parts(loss.parts), loss.parts, "1") if loss else cells.blank(),
            *worth,
        ),
        step.strong,
    )
