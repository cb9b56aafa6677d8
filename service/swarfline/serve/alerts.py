"""/alerts: what Swarfline raised, and what still stands."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Query
from pydantic import Field

from swarfline.alerts import Alert
from swarfline.serve.paging import LIMIT, MOST, most_rows
from swarfline.serve.reply import Replying
from swarfline.serve.room import InRoom, Room
from swarfline.serve.selection import MachineName
from swarfline.serve.shapes import Listing, Shape
from swarfline.serve.spans import From, Span, To, resolve
from swarfline.serve.table import OPENAPI, WantsCsv
from swarfline.serve.times import parse, show, show_or_none

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
Most = Annotated[
    int | None,
    Query(ge=1, le=MOST, description=f"most rows, {LIMIT} unless told, as CSV all; the newest are kept"),
]


@router.get("/alerts", response_model=Listing[AlertRow], responses=OPENAPI)
def list_alerts(
    room: InRoom,
    reply: Replying,
    csv: WantsCsv,
    standing: Standing = False,
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
    found = room.queries.alerts(standing, machine, start, end, most_rows(limit, csv))
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
        detail={name: _local(name, value, room) for name, value in alert.detail.items()},
    )


def _local(name: str, value: object, room: Room) -> object:
    """Times of a detail (named ``…_at``) are kept in UTC and shown as all others are."""
    return show(parse(value), room.zone) if name.endswith("_at") and isinstance(value, str) else value
