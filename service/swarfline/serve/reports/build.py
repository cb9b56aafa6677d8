"""Makes a report: its heading and its sections, in the order in which they are read."""

from __future__ import annotations

import re
from collections.abc import Callable

from swarfline.calendar import from_us
from swarfline.report import Report, Section
from swarfline.serve.page import words
from swarfline.serve.reports.energy import energy
from swarfline.serve.reports.events import alerts, longest_stops, notes, reasons
from swarfline.serve.reports.figures import Work, cascade, overall
from swarfline.serve.reports.machines import machines, parts
from swarfline.serve.reports.subject import Subject, zone_words
from swarfline.serve.reports.tools import changed, due
from swarfline.serve.reports.unknown import unknown
from swarfline.serve.spans import DAY, MONTH, SHIFT, WEEK
from swarfline.serve.tongue import gettext as _
from swarfline.serve.tongue import language

SECTIONS: tuple[Callable[[Work], Section], ...] = (
    overall, cascade, machines, parts, longest_stops, reasons, notes, alerts, changed, due, energy, unknown,
)  # fmt: skip


def build(about: Subject) -> Report:
    """The report in the language that is spoken now; figures are the API's of the same span."""
    work = Work(about)
    return Report(
        title=f"{_kind_word(about.kind)}, {about.title}",
        subtitle=work.room.plant.plant.name,
        language=language(),
        about=_about(work),
        sections=tuple(section(work) for section in SECTIONS),
        caution=_(
            "For information. Swarfline only reads machines; it is not a safety device, and nothing here says "
            "that a machine is safe to open or to touch."
        ),
        file_name=file_name(about),
        labels=(("page", _("page")), ("of", _("of"))),
    )


def _kind_word(kind: str) -> str:
    told = {SHIFT: _("Shift report"), DAY: _("Day report"), WEEK: _("Week report"), MONTH: _("Month report")}
    return told.get(kind) or _("Report")


def _about(work: Work) -> tuple[tuple[str, str, str], ...]:
    about, room = work.about, work.room
    asked = about.asked
    span = f"{words.minute(asked.start_us, room.zone)} – {words.minute(asked.end_us, room.zone)}"
    if not about.complete:
        span += " " + _("(so far)")
    coverage = work.oee.coverage_pct
    observed = _("no time was planned") if coverage is None else _share(coverage)
    then = work.oee_before.coverage_pct if work.oee_before else None
    beside = [] if then is None else [("coverage_before", _("Observed of planned time before"), _share(then))]
    return (
        ("span", _("Span"), span),
        ("time_zone", _("Time zone"), zone_words(room, asked.interval)),
        ("machines", _("Machines"), f"{about.whose} ({len(about.machines)})"),
        ("coverage", _("Observed of planned time"), observed),
        *beside,
        ("made", _("Made"), words.minute(asked.now_us, room.zone)),
    )


def _share(coverage_pct: float) -> str:
    return words.share(coverage_pct / 100)


def file_name(about: Subject) -> str:
    """Name of a file without its ending: what it is about, in characters that every system takes."""
    start = from_us(about.asked.start_us, about.room.zone)
    name = about.asked.name if about.kind == SHIFT else ""
    whose = "" if about.whole_plant else about.whose
    told = [about.kind, f"{start:%Y-%m-%d}", name, whose]
    safe = (re.sub(r"[^A-Za-z0-9_-]+", "-", text).strip("-")[:40] for text in told)
    return "-".join(["report", *(text for text in safe if text)])
