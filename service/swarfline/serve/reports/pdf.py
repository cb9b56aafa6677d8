"""A report as PDF, set by Typst from our own source ``report.typ``: A4, tagged, with title and language.

The report goes in as data, never as source: no text of a machine or a person is markup.
"""

from __future__ import annotations

import json
from dataclasses import asdict
from functools import cache
from importlib import resources
from typing import Any, Final

from swarfline.report import Report
from swarfline.serve.reports.bars import COMB, LEVELS

STANDARD: Final = "ua-1"
"""PDF/UA-1 (ISO 14289-1): readable with a screen reader; the typesetter refuses what would not be. Where a
name has letters that no font has, the file is tagged all the same but does not claim the standard."""
MISSING = (
    "PDF needs the package typst, which is not installed here; install it with: pip install 'swarfline[pdf]', "
    "or choose html or csv"
)


class NoTypesetter(Exception):
    """The optional package that sets PDF is not installed; the message says what to do."""


def to_pdf(report: Report) -> bytes:
    """The PDF file; raises NoTypesetter."""
    try:
        import typst
    except ImportError:
        raise NoTypesetter(MISSING) from None
    said = {"report": json.dumps(_plain(report))}
    try:
        return typst.compile(_source(), sys_inputs=said, format="pdf", pdf_standards=STANDARD)
    except typst.TypstError:
        # a letter that no font here has stands as an empty box, which the standard does not allow
        return typst.compile(_source(), sys_inputs=said, format="pdf")


def can_set() -> bool:
    """Whether PDF can be made here."""
    try:
        import typst  # noqa: F401
    except ImportError:
        return False
    return True


@cache
def _source() -> bytes:
    return (resources.files("swarfline.serve.reports") / "report.typ").read_bytes()


def _plain(report: Report) -> dict[str, Any]:
    """The report as the source takes it."""
    return {**asdict(report), "labels": dict(report.labels), "levels": LEVELS, "comb": COMB}
