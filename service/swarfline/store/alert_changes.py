"""What the collector's rules changed about alerts, written in the writer's transaction, with its history.

Columns of people are left alone, but for an acknowledgement of something less severe: the database compares, so
that one that was given a moment ago is seen.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from sqlalchemy import ColumnElement, Connection, case, insert, null, select, update

from swarfline.alerts import SEVERITIES, Alert, happened, more_severe
from swarfline.store import tables
from swarfline.store.alert_rows import acknowledging, collected, from_alert_row, keep_event

_ALERTS = tables.alerts


def change_alerts(connection: Connection, alerts: Iterable[Alert]) -> None:
    """Alerts that are stored already: by number, or the standing one of the subject where it bears none."""
    for alert in alerts:
        query = select(_ALERTS).where(*_which(alert))
        row = connection.execute(query.order_by(_ALERTS.c.id.desc()).limit(1)).mappings().first()
        if row is None:
            continue
        before = from_alert_row(row)
        connection.execute(
            update(_ALERTS).where(_ALERTS.c.id == before.number).values({**collected(alert), **_ended(alert)})
        )
        for event in happened(before, alert, _when(alert)):
            keep_event(connection, before.number, event)


def raise_alerts(connection: Connection, alerts: Iterable[Alert]) -> None:
    """New alerts; after the changes, so that a subject may be cleared and raised anew in one batch.

    One that is there already is left: the batch may be one that was stored although its commit failed.
    """
    for alert in alerts:
        same = select(_ALERTS.c.id).where(*_subject(alert), _ALERTS.c.raised_us == alert.raised_us)
        if connection.execute(same).first() is not None:
            continue
        added = connection.execute(insert(_ALERTS), collected(alert)).inserted_primary_key
        assert added is not None
        for event in happened(None, alert, alert.raised_us):
            keep_event(connection, int(added[0]), event)


def _which(alert: Alert) -> list[ColumnElement[bool]]:
    if alert.number:
        return [_ALERTS.c.id == alert.number]
    return [*_subject(alert), _ALERTS.c.cleared_us.is_(None)]


def _subject(alert: Alert) -> list[ColumnElement[bool]]:
    return [
        _ALERTS.c.rule == alert.rule,
        _ALERTS.c.machine == alert.machine,
        _ALERTS.c.subject == alert.subject,
    ]


def _ended(alert: Alert) -> dict[str, Any]:
    """An acknowledgement of something less severe ends; any other stays."""
    less = [severity for severity in SEVERITIES if more_severe(alert.severity, severity)]
    if not less:
        return {}
    risen = _ALERTS.c.severity.in_(less)
    return {name: case((risen, null()), else_=_ALERTS.c[name]) for name in acknowledging(None)}


def _when(alert: Alert) -> int:
    """The newest time that the alert tells."""
    told = (alert.raised_us, alert.again_us, alert.changed_us, alert.cleared_us)
    return max(us for us in told if us is not None)
