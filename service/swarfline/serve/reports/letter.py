"""The mail that a report goes with: the figures that matter most, as plain text."""

from __future__ import annotations

from swarfline.report import Report
from swarfline.serve.tongue import gettext as _


def letter(report: Report, remarks: tuple[str, ...] = ()) -> str:
    """The text of the mail, in the language that is spoken now."""
    lines = [report.title, report.subtitle, ""]
    lines += [f"{title}: {text}" for _key, title, text in report.about]
    lines.append("")
    for row in report.section("oee").rows:
        name, value, then, difference = row.cells
        unit = f" {_('points')}" if difference.unit == "%" and difference.value is not None else ""
        told = [then.text, then.note, difference.note or difference.text + unit]
        against = "" if then.value is None else f" ({_('before')} {', '.join(text for text in told if text)})"
        note = f", {value.note}" if value.note else ""
        lines.append(f"{name.text}: {value.text}{note}{against}")
    unknown = report.section("unknown").rows
    if unknown:
        lines += ["", _("What is not known stands at the end of the report (lines: %s).") % len(unknown)]
    lines += ["", *remarks] if remarks else []
    return "\n".join([*lines, "", report.caution, ""])
