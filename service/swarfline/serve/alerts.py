"""/alerts: what Swarfline raised, what became of it, and what people do about it."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Path, Query
from pydantic import Field

from swarfline.alerts import Alert, AlertEvent, story
from swarfline.serve import alerting
from swarfline.serve.entries import Body, Time
from swarfline.serve.paging import LIMIT, MOST, most_rows
from swarfline.serve.problems import WRITING, wrong
from swarfline.serve.reply import Replying
from swarfline.serve.room import InRoom, Room
from swarfline.serve.selection import MachineName
from swarfline.serve.shapes import Listing, Shape
from swarfline.serve.spans import From, Span, To, resolve
from swarfline.serve.table import OPENAPI, WantsCsv
from swarfline.serve.times import parse, show, show_or_none
from swarfline.watch.rules import RULES

router = APIRouter(tags=["alerts"])

Severity = Literal["information", "warning", "urgent"]


class AcknowledgedShape(Shape):
    """That somebody knows of an alert."""

    at: str
    who: str
    note: str


class ShelvedShape(Shape):
    """That an alert is set aside for a while."""

    until: str
    at: str
    who: str
    note: str


class AlertRow(Shape):
    """One alert."""

    number: int
    rule: str
    machine: str | None = Field(description="null: it is about a server or about the plant")
    subject: str = Field(description="what there is one standing alert for: a tool in a pot, server/ID, plant")
    severity: Severity
    text: str
    raised: str = Field(description="first time")
    raised_last: str = Field(description="last time; the same as raised where times is 1")
    times: int = Field(description="how often it was raised: one that comes back soon is the same")
    cleared: str | None = Field(description="null: it stands")
    acknowledged: AcknowledgedShape | None = Field(description="null: by nobody, or of a lower severity")
    shelved: ShelvedShape | None = Field(description="null: it is not shelved now")
    detail: dict[str, Any] = Field(description="what the rule saw")


class AlertEventShape(Shape):
    """What happened to an alert, and how it stood then."""

    at: str
    event: Literal[
        "raised", "raised_again", "severity_changed", "text_changed", "acknowledged", "acknowledgement_ended",
        "unacknowledged", "shelved", "unshelved", "shelving_ended", "cleared",
    ]  # fmt: skip
    severity: Severity
    text: str
    who: str = Field(description="empty: nobody, it happened by itself")
    note: str
    until: str | None = Field(description="end of a shelving")


class AlertStory(AlertRow):
    """One alert with its history, oldest first."""

    events: list[AlertEventShape]


class AcknowledgeBody(Body):
    """Somebody knows of an alert, and sees to it."""

    severity: Severity | None = Field(
        default=None, description="as it was seen: an alert that is more severe by now is not acknowledged"
    )


class UnacknowledgeBody(Body):
    """An acknowledgement is taken back."""


class ShelveBody(Body):
    """An alert is set aside: for ``minutes``, or ``until`` a time."""

    minutes: float | None = Field(default=None, gt=0, le=43_200, description="for so long from now")
    until: Time | None = Field(
        default=None, description="an RFC 3339 time, or 'shift': the end of the shift that runs"
    )


class UnshelveBody(Body):
    """An alert is taken back from the shelf."""


ACTING: dict[int | str, dict[str, Any]] = {
    **WRITING,
    409: {
        **WRITING[409],
        "description": "The alert is not as it needs to be any more: cleared, or done by another",
    },
}

Standing = Annotated[bool, Query(description="only alerts that stand now")]
Unacknowledged = Annotated[bool, Query(description="only alerts that stand now and that nobody acknowledged")]
ShelvedOnly = Annotated[bool, Query(description="only alerts that are shelved now, standing or not")]
RuleName = Annotated[str | None, Query(description="only alerts of this rule")]
SeverityName = Annotated[Severity | None, Query(description="only alerts that are this severe now")]
Most = Annotated[
    int | None,
    Query(ge=1, le=MOST, description=f"most rows, {LIMIT} unless told, as CSV all; the newest are kept"),
]
Number = Annotated[int, Path(ge=1, le=2**62, description="number of an alert")]


@router.get("/alerts", response_model=Listing[AlertRow], responses=OPENAPI)
def list_alerts(
    room: InRoom,
    reply: Replying,
    csv: WantsCsv,
    standing: Standing = False,
    unacknowledged: Unacknowledged = False,
    shelved: ShelvedOnly = False,
    rule: RuleName = None,
    severity: SeverityName = None,
    machine: MachineName = None,
    from_: From = None,
    to: To = None,
    span: Span = None,
    limit: Most = None,
) -> Any:
    """Alerts, newest first; of all times, or those that stood at some time in a span."""
    chosen = [m.id for m in room.machines(machine, None)]
    start = end = None
    if from_ or to or span:
        start, end = resolve(room, from_, to, span, chosen, "day").interval
    now_us = room.now_us()
    found = room.queries.alerts(
        standing,
        machine,
        start,
        end,
        most_rows(limit, csv),
        unacknowledged=unacknowledged,
        shelved_at_us=now_us if shelved else None,
        rule=_known(rule),
        severity=severity,
    )
    return reply.listing(AlertRow, [alert_row(room, a, now_us) for a in found])


@router.get("/alerts/{number}", response_model=AlertStory)
def read_alert(number: Number, room: InRoom) -> Any:
    """One alert with all that happened to it."""
    return alert_story(room, alerting.one(room, number))


@router.post("/alerts/{number}/acknowledge", response_model=AlertStory, responses=ACTING)
def acknowledge_alert(number: Number, room: InRoom, body: AcknowledgeBody) -> Any:
    """Say that somebody knows. It holds as long as the alert stands and does not become more severe."""
    return alert_story(room, alerting.acknowledge(room, number, body.who, body.note, body.severity))


@router.post("/alerts/{number}/unacknowledge", response_model=AlertStory, responses=ACTING)
def unacknowledge_alert(number: Number, room: InRoom, body: UnacknowledgeBody) -> Any:
    """Take back an acknowledgement that was given by mistake; both stay in the history."""
    return alert_story(room, alerting.unacknowledge(room, number, body.who, body.note))


@router.post("/alerts/{number}/shelve", response_model=AlertStory, responses=ACTING)
def shelve_alert(number: Number, room: InRoom, body: ShelveBody) -> Any:
    """Set an alert aside up to an end. It stays in the lists, and nobody is told of it until then."""
    return alert_story(room, alerting.shelve(room, number, body.who, body.note, body.minutes, body.until))


@router.post("/alerts/{number}/unshelve", response_model=AlertStory, responses=ACTING)
def unshelve_alert(number: Number, room: InRoom, body: UnshelveBody) -> Any:
    """Take an alert back from the shelf before its time."""
    return alert_story(room, alerting.unshelve(room, number, body.who, body.note))


def _known(rule: str | None) -> str | None:
    names = [r.name for r in RULES]
    if rule is not None and rule not in names:
        raise wrong("rule", f"there is no rule {rule[:80]!r}", ", ".join(names))
    return rule


def alert_row(room: Room, alert: Alert, now_us: int) -> AlertRow:
    """An alert as sent; ``now_us`` tells whether it is still shelved."""
    return AlertRow(**_members(room, alert, now_us))


def alert_story(room: Room, alert: Alert) -> AlertStory:
    """An alert as sent, with its history."""
    now_us = room.now_us()
    events = [_event(room, e) for e in story(room.queries.alert_events(alert.number), now_us)]
    return AlertStory(**_members(room, alert, now_us), events=events)


def _members(room: Room, alert: Alert, now_us: int) -> dict[str, Any]:
    known, shelved = alert.acknowledged, alert.shelved if alert.is_shelved(now_us) else None
    zone = room.zone
    return {
        "number": alert.number,
        "rule": alert.rule,
        "machine": alert.machine or None,
        "subject": alert.subject,
        "severity": alert.severity,
        "text": alert.text,
        "raised": show(alert.raised_us, zone),
        "raised_last": show(alert.since_us, zone),
        "times": alert.times,
        "cleared": show_or_none(alert.cleared_us, zone),
        "acknowledged": known and AcknowledgedShape(at=show(known.at_us, zone), who=known.who, note=known.note),
        "shelved": shelved
        and ShelvedShape(
            until=show(shelved.until_us, zone), at=show(shelved.at_us, zone), who=shelved.who, note=shelved.note
        ),
        "detail": {name: _local(name, value, room) for name, value in alert.detail.items()},
    }


def _event(room: Room, event: AlertEvent) -> AlertEventShape:
    return AlertEventShape(
        at=show(event.at_us, room.zone),
        event=event.kind,  # type: ignore[arg-type]
        severity=event.severity,  # type: ignore[arg-type]
        text=event.text,
        who=event.who,
        note=event.note,
        until=show_or_none(event.until_us, room.zone),
    )


def _local(name: str, value: object, room: Room) -> object:
    """Times of a detail (named ``…_at``) are kept in UTC and shown as all others are."""
    return show(parse(value), room.zone) if name.endswith("_at") and isinstance(value, str) else value
