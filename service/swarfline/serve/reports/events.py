"""The sections of what happened: stops and their reasons, alerts."""

from __future__ import annotations

from dataclasses import replace

from swarfline.alerts import SEVERITIES, Alert
from swarfline.entries import Entry, Note, standing
from swarfline.measure.stops import BY_ALARM, BY_PERSON, BY_RULE, Stop
from swarfline.report import BAR, NUMBER, WIDE, Cell, Column, Row, Section, Segment
from swarfline.serve.losses import LossRow, loss_rows
from swarfline.serve.page import alert_words, words
from swarfline.serve.reports import cells
from swarfline.serve.reports.figures import Work
from swarfline.serve.times import seconds
from swarfline.serve.tongue import gettext as _

MOST = 10
"""Rows of a list; a note says how many there are."""
MOST_REASONS = 8
MOST_NOTES = 20
LONGEST_NOTE = 400
"""Characters of a note: it is written to be handed over, so more of it is told than of other texts."""


def longest_stops(work: Work) -> Section:
    """The long stops that took most of the span's planned time; short ones are told together."""
    found = [stop for m in work.about.ids for stop in work.facts.stops(m, work.span)]
    long = sorted((s for s in found if s.long), key=lambda s: (-s.planned_us, s.start_us, s.machine))
    columns = (
        Column("machine", _("Machine")),
        Column("start", _("From")),
        Column("end", _("To")),
        Column("planned_s", _("In this span"), NUMBER),
        Column("condition", _("Mostly")),
        Column("reason", _("Reason"), WIDE),
        Column("reason_by", _("Told by")),
    )
    rows = tuple(_stop_row(work, stop, number) for number, stop in enumerate(long[:MOST], 1))
    note = _("Long stops: %(long)s, %(lost)s of the planned time; short ones: %(short)s, %(little)s.") % {
        "long": words.number(len(long)),
        "lost": words.length(sum(s.planned_us for s in long)),
        "short": words.number(len(found) - len(long)),
        "little": words.length(sum(s.planned_us for s in found if not s.long)),
    }
    nothing = _("No long stop was observed.")
    return Section("stops", _("Longest stops"), columns, rows, note if found else "", nothing)


def _stop_row(work: Work, stop: Stop, number: int) -> Row:
    by = {BY_PERSON: _("a person"), BY_RULE: _("a rule"), BY_ALARM: _("an alarm")}.get(stop.reason_by)
    end = work.moment(stop.end_us)
    return Row(
        str(number),
        (
            cells.text(work.name(stop.machine)),
            work.moment(stop.start_us),
            Cell(_("goes on"), end.value) if stop.open else end,
            cells.length(seconds(stop.planned_us)),
            Cell(words.condition(stop.condition), stop.condition),
            cells.text(stop.reason),
            Cell(by or words.UNKNOWN, stop.reason_by),
        ),
    )


def reasons(work: Work) -> Section:
    """Stops by reason, the ones that took most first."""
    rows = [r for r in loss_rows(work.facts, work.whole, "reason") if r.reason is not None and r.time_s]
    columns = (
        Column("reason", _("Reason")),
        Column("bar", _("Drawn to scale"), BAR),
        Column("time_s", _("Time"), NUMBER),
        Column("share_pct", _("Share"), NUMBER),
    )
    scale = max((r.time_s for r in rows), default=1.0)
    shown = tuple(_reason_row(work, row, scale) for row in rows[:MOST_REASONS])
    left = sum(r.time_s for r in rows[MOST_REASONS:])
    note = _("Further reasons: %s.") % words.length(left * 1_000_000) if left else ""
    return Section("reasons", _("What stops were put down to"), columns, shown, note, _("No stop was observed."))


def _reason_row(work: Work, row: LossRow, scale: float) -> Row:
    return Row(
        row.reason or "unknown",
        (
            cells.text(row.reason or _("no reason known")),
            cells.bar([Segment(0.0, row.time_s / scale, "stays")]),
            cells.hours(row.time_s, work.oee.coverage_pct),
            cells.percent(row.share_pct, work.oee.coverage_pct),
        ),
    )


def alerts(work: Work) -> Section:
    """The alerts that stood at some time in the span, the most severe first, then the newest."""
    about, known = work.about, {m.id for m in work.room.plant.machines}
    found = work.room.queries.alerts(start_us=work.span[0], end_us=work.span[1])
    # alerts of no machine (a server, the disk) belong to the whole plant
    ours = [a for a in found if a.machine in about.ids or (about.whole_plant and a.machine not in known)]
    ours.sort(key=lambda a: (-SEVERITIES.index(a.severity), -a.raised_us))
    columns = (
        Column("raised", _("Raised")),
        Column("cleared", _("Cleared")),
        Column("severity", _("Severity")),
        Column("machine", _("Machine")),
        Column("text", _("What"), WIDE),
        Column("state", _("People")),
    )
    rows = tuple(_alert_row(work, alert, number) for number, alert in enumerate(ours[:MOST], 1))
    note = _cut_short(_("%(shown)s of %(all)s, the most severe first."), len(rows), len(ours))
    return Section("alerts", _("Alerts"), columns, rows, note, _("No alert stood."))


def _cut_short(text: str, shown: int, count: int) -> str:
    """``text`` about a list that shows only some of all; nothing about one that is whole."""
    return text % {"shown": words.number(shown), "all": words.number(count)} if count > shown else ""


def _alert_row(work: Work, alert: Alert, number: int) -> Row:
    times = _("%s times") % words.number(alert.times) if alert.times > 1 else ""
    return Row(
        str(number),
        (
            replace(work.moment(alert.raised_us), note=times),
            Cell(_("stands")) if alert.cleared_us is None else work.moment(alert.cleared_us),
            Cell(alert_words.severity(alert.severity), alert.severity),
            cells.text(work.name(alert.machine)),
            cells.text(alert_words.text(alert)),
            cells.text(alert_words.state(work.room, alert, work.about.asked.now_us)),
        ),
    )


def notes(work: Work) -> Section:
    """What people noted about the span, the newest first."""
    found = [e for e in standing(work.room.queries.entries(Note, None, *work.span)) if e.machine in work.about.ids]
    found.sort(key=lambda e: (-e.start_us, -e.number))
    columns = (
        Column("machine", _("Machine")),
        Column("time", _("About")),
        Column("text", _("What is to be known"), WIDE),
        Column("who", _("Who")),
    )
    rows = tuple(_note_row(work, entry, number) for number, entry in enumerate(found[:MOST_NOTES], 1))
    note = _cut_short(_("%(shown)s of %(all)s, the newest first."), len(rows), len(found))
    return Section("notes", _("Notes"), columns, rows, note, _("Nothing was noted."))


def _note_row(work: Work, entry: Entry, number: int) -> Row:
    text = entry.said.text if isinstance(entry.said, Note) else ""
    return Row(
        str(number),
        (
            cells.text(work.name(entry.machine)),
            work.moment(entry.start_us),
            cells.text(text, most=LONGEST_NOTE),
            cells.text(entry.who),
        ),
    )
