"""A report as HTML: one file that needs nothing else, for a disk or a mail."""

from __future__ import annotations

from functools import cache
from importlib import resources

from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape

from swarfline.report import Report
from swarfline.serve.reports import bars
from swarfline.serve.tongue import gettext, ngettext


def to_html(report: Report) -> str:
    """The whole file. Nothing in it runs, and nothing is loaded from elsewhere."""
    return _environment().get_template("report_file.html").render(report=report, css=_styles(), bars=bars)


@cache
def _environment() -> Environment:
    made = Environment(
        loader=PackageLoader("swarfline.serve.page"),
        autoescape=select_autoescape(default=True),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        extensions=["jinja2.ext.i18n"],
    )
    made.install_gettext_callables(gettext, ngettext, newstyle=True)  # type: ignore[attr-defined]
    return made


@cache
def _styles() -> str:
    """The styles of the pages and of reports; they are ours, and hold no text of anybody else."""
    folder = resources.files("swarfline.serve.page") / "assets"
    return "".join((folder / name).read_text(encoding="utf-8") for name in ("page.css", "report.css"))
