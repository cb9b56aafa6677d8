"""The sections of tools: which were changed and how their lives ended, and which are due next."""

from __future__ import annotations

from swarfline.facts import ToolLife
from swarfline.measure.forecast import ToolForecast
from swarfline.measure.lives import AT_LIMIT, EARLY, FAILED, REMOVED, UNKNOWN, broken_lives, ending
from swarfline.report import BAR, NUMBER, WIDE, Cell, Column, Row, Section, Segment
from swarfline.serve.page import words
from swarfline.serve.reports import cells
from swarfline.serve.reports.events import MOST
from swarfline.serve.reports.figures import Work
from swarfline.serve.tongue import gettext as _
from swarfline.serve.tool_history import breakages

RECENT_US = 7 * 86_400_000_000
"""A span that ended longer ago says nothing of tools that are due now."""


def changed(work: Work) -> Section:
    """Tool lives that ended in the span, early ends first."""
    found = [(life, how) for m in work.about.ids for life, how in _ended(work, m)]
    early = [how for _life, how in found if how in (FAILED, EARLY, REMOVED)]
    found.sort(key=lambda pair: (pair[1] in (AT_LIMIT, UNKNOWN), pair[0].end_us))
    columns = (
        Column("machine", _("Machine")),
        Column("tool", _("Tool")),
        Column("end", _("When")),
        Column("used", _("Achieved"), NUMBER),
        Column("limit", _("Limit"), NUMBER),
        Column("share_pct", _("Of the limit"), NUMBER),
        Column("ending", _("How it ended"), WIDE),
    )
    rows = tuple(_life_row(work, life, how, n) for n, (life, how) in enumerate(found[:MOST], 1))
    note = _("Lives that ended: %(all)s; before 95 %% of their limit: %(early)s, which stand first.") % {
        "all": words.number(len(found)),
        "early": words.number(len(early)),
    }
    return Section(
        "tools_changed", _("Tools changed"), columns, rows, note if found else "", _("No tool life ended.")
    )


def _ended(work: Work, machine: str) -> list[tuple[ToolLife, str]]:
    lives = work.room.queries.facts(ToolLife, machine, *work.span)
    broken = broken_lives(lives, breakages(work.room, work.about.asked, machine))
    ended = (life for life in lives if not life.open and work.span[0] < life.end_us <= work.span[1])
    return [(life, ending(life, life.key in broken)) for life in ended]


def _life_row(work: Work, life: ToolLife, how: str, number: int) -> Row:
    share = None if not life.limit else life.used / life.limit * 100
    return Row(
        str(number),
        (
            cells.text(work.name(life.machine)),
            cells.text(words.tool(life.tool, life.name)),
            work.moment(life.end_us),
            _life(life.used, life.basis),
            _life(life.limit, life.basis),
            cells.share(share),
            Cell(words.ending(how, life.used, life.limit), how),
        ),
    )


def _life(value: float | None, basis: str) -> Cell:
    unit = {"time": "s", "distance": "m"}.get(basis, "1")
    return Cell(words.life(value, basis), value, unit)


def due(work: Work) -> Section:
    """Tools that are due next, as of the making of the report."""
    now_us = work.about.asked.now_us
    columns = (
        Column("machine", _("Machine")),
        Column("tool", _("Tool")),
        Column("pot", _("Pot")),
        Column("bar", _("Used of the limit"), BAR),
        Column("share_pct", _("Used"), NUMBER),
        Column("cycles_left", _("Cycles left"), NUMBER),
        Column("limit_at", _("Due")),
    )
    title = _("Tools due next")
    if now_us - work.span[1] > RECENT_US:
        return Section("tools_due", title, columns, (), "", _("Left out: the span ended more than a week ago."))
    found = [(m, tool) for m in work.about.ids for tool in work.facts.forecasts(m) if _known(tool)]
    found.sort(key=lambda pair: _urgency(pair[1]))
    rows = tuple(_due_row(work, m, tool, n) for n, (m, tool) in enumerate(found[:MOST], 1))
    note = _("As of %s. To change tools is work for qualified people, by the machine builder’s manual.")
    return Section(
        "tools_due", title, columns, rows, note % words.moment(now_us, work.room.zone) if rows else "",
        _("Nothing is known of tools that come near their limit."),
    )  # fmt: skip


def _known(tool: ToolForecast) -> bool:
    return tool.state == "due" or tool.cycles_left is not None


def _urgency(tool: ToolForecast) -> tuple[bool, float, float]:
    at_us = float("inf") if tool.limit_at_us is None else float(tool.limit_at_us)
    return tool.state != "due", at_us, float(tool.cycles_left or 0)


def _due_row(work: Work, machine: str, tool: ToolForecast, number: int) -> Row:
    share, now_us = tool.share_used, work.about.asked.now_us
    kind = "due" if tool.state == "due" else "stays"
    limit = cells.moment(tool.limit_at_us, work.room, now_us)
    return Row(
        str(number),
        (
            cells.text(work.name(machine)),
            cells.text(words.tool(tool.tool, tool.name)),
            cells.text(tool.pot or tool.pot_key),
            cells.bar([] if share is None else [Segment(0.0, min(max(share, 0.0), 1.0), kind)]),
            cells.share(None if share is None else share * 100),
            cells.count(tool.cycles_left),
            Cell(_("limit reached"), limit.value) if tool.state == "due" else limit,
        ),
    )
