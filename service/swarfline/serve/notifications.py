"""/notifications: the outbox: what was told to whom, what waits, and what could not be delivered."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Query
from pydantic import Field

from swarfline.messages import Delivery
from swarfline.serve.paging import LIMIT, MOST, most_rows
from swarfline.serve.problems import missing
from swarfline.serve.reply import Replying
from swarfline.serve.room import InRoom, Room
from swarfline.serve.shapes import Listing, Shape
from swarfline.serve.table import OPENAPI, WantsCsv
from swarfline.serve.times import show, show_or_none

router = APIRouter(tags=["alerts"])

State = Literal["waiting", "sent", "refused", "given_up", "in_another"]


class NotificationRow(Shape):
    """One message of the outbox. Addresses, secrets and files are not told."""

    number: int = Field(description="counts messages in the order of queueing")
    channel: str
    kind: Literal["alert", "joined", "report", "test"] = Field(description="joined: several about alerts in one")
    key: str = Field(description="goes with every attempt; the same at a repetition")
    subject: str
    state: State = Field(
        description="refused: by the receiver, for good; given_up: for its age; in_another: sent as a part of it"
    )
    attempts: int = Field(description="attempts begun")
    created: str = Field(description="by the service's clock, as all times here")
    not_before: str | None = Field(description="when it may be sent: quiet hours, a collection; null: at once")
    tried: str | None = Field(description="start of the last attempt")
    next_attempt: str | None = Field(description="null: there is none any more")
    settled: str | None = Field(description="when it came to its end")
    problem: str = Field(description="what the last attempt that failed met with, or a remark; empty: nothing")
    inside: int | None = Field(description="number of the message that it went with")


ChannelName = Annotated[str | None, Query(description="only messages of this channel")]
StateName = Annotated[State | None, Query(description="only messages in this state")]
Before = Annotated[int | None, Query(ge=1, le=2**62, description="only messages with a lower number")]
Most = Annotated[
    int | None,
    Query(ge=1, le=MOST, description=f"most rows, {LIMIT} unless told, as CSV all; the newest are kept"),
]


@router.get("/notifications", response_model=Listing[NotificationRow], responses=OPENAPI)
def list_notifications(
    room: InRoom,
    reply: Replying,
    csv: WantsCsv,
    channel: ChannelName = None,
    state: StateName = None,
    before: Before = None,
    limit: Most = None,
) -> Any:
    """Messages of the outbox, newest first; what was settled is kept for 100 days."""
    known = [c.id for c in room.plant.channels]
    if channel is not None and channel not in known:
        raise missing("channel", channel, known)
    found = room.store.outbox.told(most_rows(limit, csv), channel, state, before)
    return reply.listing(NotificationRow, [notification_row(room, one) for one in found])


def notification_row(room: Room, one: Delivery) -> NotificationRow:
    """A message as sent."""
    message, zone = one.message, room.zone
    return NotificationRow(
        number=one.number,
        channel=message.channel,
        kind=message.kind,  # type: ignore[arg-type]
        key=message.key,
        subject=message.subject,
        state=one.state,  # type: ignore[arg-type]
        attempts=one.attempts,
        created=show(message.created_us, zone),
        not_before=show(message.not_before_us, zone) if message.held else None,
        tried=show_or_none(one.tried_us, zone),
        next_attempt=show_or_none(one.next_us, zone),
        settled=show_or_none(one.settled_us, zone),
        problem=one.problem,
        inside=one.inside,
    )
