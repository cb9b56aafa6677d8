"""A report as one flat table: section, row, column, value, unit, coverage_pct (CSV, RFC 4180)."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator

from swarfline.report import BAR, Cell, Report
from swarfline.serve.table import safe

HEADER = ("section", "row", "column", "value", "unit", "coverage_pct")


def to_csv(report: Report) -> str:
    """Every cell that has a value in a line; what is not known has an empty value. Numbers are not rounded.

    The heading is the section ``about``; a section's note stands in a line without a row, and why
    a value is missing in a line of its own (``_why``).
    """
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(HEADER)
    for line in _lines(report):
        writer.writerow([safe(value) for value in line])
    return out.getvalue()


def _lines(report: Report) -> Iterator[tuple[object, ...]]:
    yield "about", "", "plant", report.subtitle, "", ""
    yield "about", "", "title", report.title, "", ""
    for name, _title, text in report.about:
        yield "about", "", name, text, "", ""
    for section in report.sections:
        if section.note:
            yield section.key, "", "note", section.note, "", ""
        for row in section.rows:
            for column, cell in zip(section.columns, row.cells, strict=True):
                if column.kind != BAR and not _nothing(cell):
                    yield section.key, row.key, column.key, cell.value, cell.unit, cell.coverage_pct
                if cell.value is None and cell.note:
                    yield section.key, row.key, f"{column.key}_why", cell.note, "", ""


def _nothing(cell: Cell) -> bool:
    """Nothing belongs in this cell: another thing than a value that is not known."""
    return not cell.text and cell.value is None
