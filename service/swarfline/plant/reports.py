"""Checks of the reports that are made by themselves: what they are of, when, and where they go."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from swarfline.plant.model import Plant, ReportTable
from swarfline.plant.wording import unknown


def report_errors(plant: Plant) -> Iterator[str]:
    """One line per mistake, in the file's order."""
    twice = (name for name, count in Counter(r.id for r in plant.reports).items() if count > 1)
    for name in twice:
        yield f"[[reports]] {name!r}: key 'id': used twice"
    for report in plant.reports:
        where = f"[[reports]] {report.id!r}"
        yield from (f"{where}: {line}" for line in _references(plant, report))
        yield from (f"{where}: {line}" for line in _times(plant, report))


def _references(plant: Plant, report: ReportTable) -> Iterator[str]:
    machines, cells = [m.id for m in plant.machines], [c.id for c in plant.cells]
    for machine in report.machines:
        if machine not in machines:
            yield f"key 'machines': {unknown('machine', machine, machines)}"
    if report.cell is not None and report.cell not in cells:
        yield f"key 'cell': {unknown('cell', report.cell, cells)}"
    if report.cell is not None and report.machines:
        yield "keys 'cell' and 'machines': name one of them"


def _times(plant: Plant, report: ReportTable) -> Iterator[str]:
    """A key that this span does not go by is a mistake: the report would come at another time than was meant."""
    given = report.model_fields_set
    if report.span == "shift":
        if "at" in given:
            yield "key 'at': a report of a shift is made 'after_min' minutes after the shift's end"
        if not plant.shifts:
            yield "key 'span' = 'shift': the file has no [[shifts]]"
    elif "after_min" in given:
        yield f"key 'after_min': is for reports of a shift; one of a {report.span} is made 'at' a time of day"
    if "on" in given and report.span != "week":
        yield f"key 'on': is for reports of a week, not of a {report.span}"
