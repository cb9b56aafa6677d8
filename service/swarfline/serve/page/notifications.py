"""The page of notifications: the channels, how they do, and the newest messages."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import FastAPI
from starlette.responses import Response

from swarfline.calendar import from_us
from swarfline.messages import ALERT, GIVEN_UP, IN_ANOTHER, REFUSED, SENT, WAITING, Delivery, Message
from swarfline.plant.channels import ChannelTable
from swarfline.serve.page import alert_words, words
from swarfline.serve.page.pages import pages_of
from swarfline.serve.room import InRoom, Room
from swarfline.serve.tongue import gettext as _
from swarfline.serve.tongue import ngettext
from swarfline.watch.notices import SHORT

MOST = 100
"""Messages that are listed; the API has all of them."""
DAY_US = 86_400_000_000
LATE_US = 5 * 60_000_000
"""A message that waits longer than this is told of on the pages of alerts and of the plant now."""


@dataclass(frozen=True, slots=True)
class ChannelLine:
    """How one channel does."""

    channel: str
    kind: str
    waiting: str
    sent: str
    lost: str
    last: str
    ailing: bool


@dataclass(frozen=True, slots=True)
class MessageLine:
    """One message in words."""

    number: int
    channel: str
    subject: str
    created: str
    state: str
    ailing: bool
    attempts: str
    then: str
    problem: str


def _kind(table: ChannelTable) -> str:
    return {"webhook": _("Webhook"), "mail": _("Mail"), "other": _("Other service")}[table.kinds[0]]


def _state(state: str) -> str:
    return {
        WAITING: _("waits"),
        SENT: _("sent"),
        REFUSED: _("refused"),
        GIVEN_UP: _("given up"),
        IN_ANOTHER: _("sent with others"),
    }.get(state, state)


def channel_line(room: Room, table: ChannelTable, now_us: int) -> ChannelLine:
    """How a channel does now, and did in the last 24 hours."""
    outbox, since_us = room.store.outbox, now_us - DAY_US
    waiting = outbox.waiting(table.id)
    sent, refused, given_up = (
        outbox.settled_since(table.id, state, since_us) for state in (SENT, REFUSED, GIVEN_UP)
    )
    last = outbox.told(1, table.id, SENT)
    return ChannelLine(
        table.id,
        _kind(table),
        words.number(waiting),
        words.number(sent),
        words.number(refused + given_up),
        words.clock(last[0].settled_us, room.zone, now_us) if last else words.UNKNOWN,
        refused + given_up > 0,
    )


def message_line(room: Room, one: Delivery, now_us: int) -> MessageLine:
    """One message in words."""
    at_us = one.next_us if one.state == WAITING else one.settled_us
    return MessageLine(
        one.number,
        one.message.channel,
        _subject(room, one.message),
        words.clock(one.message.created_us, room.zone, now_us),
        _state(one.state),
        one.state in (REFUSED, GIVEN_UP) or (one.state == WAITING and bool(one.problem)),
        words.number(one.attempts),
        words.clock(at_us, room.zone, now_us),
        one.problem,
    )


def _subject(room: Room, message: Message) -> str:
    """What a message is about: in the reader's language where it is one of an alert, else as it was sent."""
    data = message.data
    if message.kind != ALERT or data.get("event") not in SHORT:
        return message.subject.removeprefix(f"{room.plant.plant.name}: ")
    rule, machine, text, severity = (str(data.get(name) or "") for name in ("rule", "machine", "text", "severity"))
    detail = data.get("detail")
    told = alert_words.told(rule, machine, text, detail if isinstance(detail, dict) else {})
    return f"{_(SHORT[str(data['event'])]).format(severity=alert_words.severity(severity))}: {told}"


def late_words(room: Room) -> str:
    """That messages wait which should have been delivered by now; empty where none do."""
    now_us = room.clock_us()
    count, since_us = room.store.outbox.late(now_us - LATE_US)
    if not count:
        return ""
    text = ngettext(
        "%(count)s message could not be delivered yet, since %(since)s.",
        "%(count)s messages could not be delivered yet, the first since %(since)s.",
        count,
    )
    return text % {"count": words.number(count), "since": words.clock(since_us, room.zone, now_us)}


def install(app: FastAPI) -> None:
    """Serve the page of ``app``."""

    @app.get("/notifications", include_in_schema=False)
    def notifications(room: InRoom) -> Response:
        now_us = room.clock_us()
        return pages_of(app).answer(
            "notifications.html",
            channels=[channel_line(room, table, now_us) for table in room.plant.channels],
            messages=[message_line(room, one, now_us) for one in room.store.outbox.told(MOST)],
            most=MOST,
            at=f"{from_us(now_us, room.zone):%H:%M:%S}",
        )
