"""/alerts: what Swarfline raised, and what still stands."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Query
from pydantic import Field

from swarfline.alerts import Alert
from swarfline.serve.paging import LIMIT, MOST
from swarfline.serve.reply import Replying
from swarfline.serve.room import InRoom, Room
from swarfline.serve.selection import MachineName
from swarfline.serve.shapes import Listing, Shape
from swarfline.serve.spans import From, Span, To, resolve
from swarfline.serve.table import OPENAPI
from swarfline.serve.times import show, show_or_none

router = APIRouter(tags=["alerts"])


class AlertRow(Shape):
    """One alert."""

    rule: str
    machine: str
    subject: str
    severity: Literal["information", "warning", "urgent"]
    text: str
    raised: str
    cleared: str | None = Field(description="null: it stands")
    detail: dict[str, Any] = Field(description="what the rule saw")


Standing = Annotated[bool, Query(description="only alerts that stand now")]
Most = Annotated[int, Query(ge=1, le=MOST, description="most rows; the newest are kept")]


@router.get("/alerts", response_model=Listing[AlertRow], responses=OPENAPI)
def list_alerts(
    room: InRoom,
    reply: Replying,
    standing: Standing = False,
    machine: MachineName = None,
    from_: From = None,
    to: To = None,
    span: Span = None,
    limit: Most = LIMIT,
) -> Any:
    """Alerts, newest first; of all times, or those that stood at some time in a span."""
    chosen = [m.id for m in room.machines(machine, None)]
    start = end = None
    if from_ or to or span:
        start, end = resolve(room, from_, to, span, chosen, "day").interval
    found = room.queries.alerts(standing, machine, start, end, limit)
    return reply.listing(AlertRow, [alert_row(room, a) for a in found])


def alert_row(room: Room, alert: Alert) -> AlertRow:
    """An alert as sent."""
    return AlertRow(
        rule=alert.rule,
        machine=alert.machine,
        subject=alert.subject,
        severity=alert.severity,  # type: ignore[arg-type]
        text=alert.text,
        raised=show(alert.raised_us, room.zone),
        cleared=show_or_none(alert.cleared_us, room.zone),
        detail=dict(alert.detail),
    )
