"""The section that says what a report does not know, so that nobody takes silence for good news."""

from __future__ import annotations

from collections.abc import Iterator

from swarfline.capability import can_tell
from swarfline.measure.stops import BY_NONE
from swarfline.report import NUMBER, WIDE, Cell, Column, Row, Section
from swarfline.serve.page import words
from swarfline.serve.reports import cells
from swarfline.serve.reports.figures import Work
from swarfline.serve.times import seconds
from swarfline.serve.tongue import gettext as _


def unknown(work: Work) -> Section:
    """What is not known, by machine."""
    columns = (
        Column("machine", _("Machine")),
        Column("what", _("What"), WIDE),
        Column("amount", _("How much"), NUMBER),
    )
    found = [(m, *told) for m in work.about.ids for told in _of_machine(work, m)]
    rows = tuple(
        Row(f"{machine}_{what}", (cells.text(work.name(machine)), cells.text(text), amount))
        for machine, what, text, amount in found
    )
    return Section("unknown", _("What is not known"), columns, rows, "", _("Everything asked about was observed."))


def _of_machine(work: Work, machine: str) -> Iterator[tuple[str, str, Cell]]:
    """(name, words, amount) of each thing that is not known of a machine."""
    row = work.machine_oee[machine]
    if row.times.unobserved_time_s:
        share = _unseen(row.coverage_pct)
        lost = row.times.unobserved_time_s
        yield "unobserved", _("planned time that was not observed"), cells.length(lost, share)
    if not row.times.planned_time_s:
        busy = _("no time was planned: its OEE is of what it produced all the same")
        none = _("no time was planned: there is no OEE")
        yield "unplanned", busy if row.times.planned_busy_time_s else none, cells.blank()
    nameless = [s for s in work.facts.stops(machine, work.span) if s.reason_by == BY_NONE]
    if nameless:
        lost = seconds(sum(s.planned_us for s in nameless))
        note = _("stops: %s") % words.number(len(nameless))
        yield "no_reason", _("stops without a reason"), cells.length(lost, note)
    yield from _of_parts(work, machine)
    if not can_tell(work.room.plant, work.room.plant.machine(machine), "energy"):
        yield "energy", _("its energy: neither power nor energy is mapped"), cells.blank()


def _unseen(coverage_pct: float | None) -> str:
    """The share that was not observed; what is not nothing never looks so."""
    if coverage_pct is None or round(100 - coverage_pct, 1):
        return words.percent(None if coverage_pct is None else 1 - coverage_pct / 100)
    return f"< {words.percent(0.001)}"


def _of_parts(work: Work, machine: str) -> Iterator[tuple[str, str, Cell]]:
    row = work.machine_oee[machine]
    made = row.parts
    if made.unjudged:
        yield "unjudged", _("parts that nobody judged count as good"), cells.count(made.unjudged)
    if made.across_gap:
        text = _("parts counted across gaps; they do not enter the ratios")
        yield "across_gap", text, cells.count(made.across_gap)
    if row.figures.oee.estimate:
        text = _("planned time of a part: the best that was demonstrated stands in for it")
        yield "estimate", text, cells.blank()
    for hint in dict.fromkeys(figure.hint for _name, figure in row.figures if figure.hint):
        yield "hint", _(hint), cells.blank()
