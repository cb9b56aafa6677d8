"""A report as HTML: one file that needs nothing else, for a disk or a mail."""

from __future__ import annotations

from functools import cache
from importlib import resources

from jinja2 import Environment

from swarfline.report import Report
from swarfline.serve.page.pages import environment
from swarfline.serve.reports import bars


def to_html(report: Report) -> str:
    """The whole file. Nothing in it runs, and nothing is loaded from elsewhere."""
    return _templates().get_template("report_file.html").render(report=report, css=_styles(), bars=bars)


@cache
def _templates() -> Environment:
    return environment()


@cache
def _styles() -> str:
    """The styles of the pages and of reports; they are ours, and hold no text of anybody else."""
    folder = resources.files("swarfline.serve.page") / "assets"
    return "".join((folder / name).read_text(encoding="utf-8") for name in ("page.css", "report.css"))
