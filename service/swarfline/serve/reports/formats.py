"""The formats in which a report is written down."""

from __future__ import annotations

from collections.abc import Callable
from typing import Literal, NamedTuple

from swarfline.report import Report
from swarfline.serve.reports.flat import to_csv
from swarfline.serve.reports.pdf import to_pdf
from swarfline.serve.reports.sheet import to_html

FormatName = Literal["html", "pdf", "csv"]


class Format(NamedTuple):
    """How a report is written, and the media type of what comes out (RFC 2046, RFC 4180, RFC 8118)."""

    write: Callable[[Report], bytes]
    media_type: str


FORMATS: dict[str, Format] = {
    "html": Format(lambda report: to_html(report).encode(), "text/html; charset=utf-8"),
    "pdf": Format(to_pdf, "application/pdf"),
    "csv": Format(lambda report: to_csv(report).encode(), "text/csv; charset=utf-8"),
}
