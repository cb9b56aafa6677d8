"""The sections that compare: machines on one scale, and parts."""

from __future__ import annotations

from collections.abc import Iterator

from swarfline.facts import PRODUCING, UNOBSERVED
from swarfline.measure.elements import NOT_PRODUCING, TimeElements
from swarfline.report import BAR, NUMBER, WIDE, Cell, Column, Row, Section, Segment
from swarfline.serve.oee import is_known, oee_row
from swarfline.serve.pace import pace_row
from swarfline.serve.page import words
from swarfline.serve.reports import cells
from swarfline.serve.reports.figures import Work
from swarfline.serve.slices import slices
from swarfline.serve.tongue import gettext as _

_ORDER = (PRODUCING, *NOT_PRODUCING, UNOBSERVED)


def machines(work: Work) -> Section:
    """Each machine's planned time by condition, all to one scale, its OEE and its parts against target."""
    columns = (
        Column("machine", _("Machine")),
        Column("bar", _("Planned time by condition"), BAR),
        Column("oee_pct", _("OEE"), NUMBER),
        Column("availability_pct", _("Avail."), NUMBER),
        Column("effectiveness_pct", _("Effect."), NUMBER),
        Column("quality_ratio_pct", _("Quality"), NUMBER),
        Column("made", _("Made"), NUMBER),
        Column("due", _("Due by now"), NUMBER),
        Column("ahead", _("Ahead"), NUMBER),
        Column("coverage_pct", _("Observed"), NUMBER),
    )
    elements = {m: work.facts.elements(m, [work.span]) for m in work.about.ids}
    scale = max((e.planned_us for e in elements.values()), default=0) or 1
    rows = tuple(_machine_row(work, m, list(_pieces(elements[m], scale))) for m in work.about.ids)
    used = [c for c in _ORDER if any(e.inside(c) for e in elements.values())]
    note = _("Due: parts wanted by now, as people told, else by plan.")
    return Section(
        "machines",
        _("Machines compared"),
        columns,
        rows,
        note,
        legend=tuple((c, words.condition(c)) for c in used),
    )


def _pieces(elements: TimeElements, scale: int) -> Iterator[Segment]:
    at = 0
    for condition in _ORDER:
        us = elements.inside(condition)
        yield Segment(at / scale, (at + us) / scale, condition)
        at += us


def _machine_row(work: Work, machine: str, pieces: list[Segment]) -> Row:
    row, made = work.machine_oee[machine], pace_row(work.facts, work.about.asked, machine)
    figures, due, seen = row.figures, cells.count(made.expected), is_known(row)
    return Row(
        machine,
        (
            cells.text(row.name),
            cells.bar(pieces),
            cells.ratio(figures.oee),
            cells.ratio(figures.availability),
            cells.ratio(figures.effectiveness),
            cells.ratio(figures.quality_ratio),
            cells.count(made.made if seen else None),
            Cell(due.text, due.value, due.unit, note=_("told") if made.target_told else ""),
            _ahead(made.ahead if seen else None),
            cells.share(row.coverage_pct),
        ),
    )


def _ahead(ahead: float | None) -> Cell:
    return cells.count(None) if ahead is None else Cell(cells.signed(ahead), ahead, "1")


def parts(work: Work) -> Section:
    """What was made of each part."""
    columns = (
        Column("part", _("Part")),
        Column("produced", _("Made"), NUMBER),
        Column("good", _("Good"), NUMBER),
        Column("scrap", _("Scrap"), NUMBER),
        Column("rework", _("Rework"), NUMBER),
        Column("unjudged", _("Not judged"), NUMBER),
        Column("across_gap", _("Counted across gaps"), NUMBER),
        Column("oee_pct", _("OEE"), NUMBER),
        Column("machines", _("Machines"), WIDE),
    )
    found = (oee_row(work.facts, piece) for piece in slices(work.facts, "part", work.about.machines))
    rows = tuple(
        Row(
            row.key,
            (
                cells.text(row.key if row.name == row.key else f"{row.key} {row.name}"),
                *(
                    cells.count(n)
                    for n in (
                        row.parts.produced, row.parts.good, row.parts.scrap, row.parts.rework,
                        row.parts.unjudged, row.parts.across_gap,
                    )
                ),
                cells.ratio(row.figures.oee, note=True),
                cells.text(", ".join(row.machines)),
            ),
        )
        for row in found
        if row.parts.produced or row.parts.scrap
    )  # fmt: skip
    return Section("parts", _("Parts"), columns, rows, nothing=_("No part was counted."))
