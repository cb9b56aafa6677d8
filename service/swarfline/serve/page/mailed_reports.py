"""The reports that are mailed by themselves, and how the last mail of each stands; for the page of reports."""

from __future__ import annotations

from dataclasses import dataclass

from swarfline.messages import GIVEN_UP, REFUSED, REPORT, SENT, WAITING, Delivery
from swarfline.plant import ReportTable
from swarfline.serve.page import words
from swarfline.serve.page.choosing import kind_words
from swarfline.serve.room import Room
from swarfline.serve.tongue import gettext as _

LOOK_BACK = 200
"""Messages of a channel among which the last report is looked for."""


@dataclass(frozen=True, slots=True)
class MailedReport:
    """One report of the plant file, in words; ``last`` is about its last mail."""

    id: str
    span: str
    when: str
    formats: str
    channel: str
    last: str


def mailed_reports(room: Room) -> list[MailedReport]:
    """Every report of the plant file, in its order."""
    return [_mailed(room, table) for table in room.plant.reports]


def mail_channel(room: Room) -> str | None:
    """The first channel of the plant file that mails; None where it has none."""
    return next((table.id for table in room.plant.channels if table.mail is not None), None)


def _mailed(room: Room, table: ReportTable) -> MailedReport:
    told = room.store.outbox.told(LOOK_BACK, channel=table.channel)
    last = next((d for d in told if d.message.kind == REPORT and d.message.data.get("report") == table.id), None)
    return MailedReport(
        table.id,
        kind_words(table.span),
        _when(table),
        ", ".join(table.formats),
        table.channel,
        words.UNKNOWN if last is None else _stands(room, last),
    )


def _when(table: ReportTable) -> str:
    if table.span == "shift":
        return _("%s min after its end") % words.number(table.after_min)
    at = f"{table.at:%H:%M}"
    if table.span == "day":
        return _("the day after, %s") % at
    if table.span == "week":
        return _("%(day)s of the week after, %(time)s") % {"day": _weekday(table.on), "time": at}
    return _("the first of the month after, %s") % at


def _weekday(name: str) -> str:
    told = {
        "mon": _("Monday"),
        "tue": _("Tuesday"),
        "wed": _("Wednesday"),
        "thu": _("Thursday"),
        "fri": _("Friday"),
        "sat": _("Saturday"),
        "sun": _("Sunday"),
    }
    return told[name]


def _stands(room: Room, last: Delivery) -> str:
    """How a mail stands, and what the last attempt that failed met with."""
    settled = words.clock(last.settled_us, room.zone, room.clock_us())
    told = {
        WAITING: _("waits to be sent, attempts so far: %s") % words.number(last.attempts),
        SENT: _("sent %s") % settled,
        REFUSED: _("refused %s") % settled,
        GIVEN_UP: _("given up %s") % settled,
    }.get(last.state, last.state)
    problem = "" if last.state == SENT or not last.problem else f": {last.problem}"
    return f"{last.message.subject}: {told}{problem}"
