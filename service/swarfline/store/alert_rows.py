"""Alerts and what happened to them, as rows and back."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, replace
from typing import Any

from sqlalchemy import ColumnElement, Connection, Engine, and_, insert, or_, select, update

from swarfline.alerts import TEXT_CHANGED, Acknowledgement, Alert, AlertEvent, Shelving
from swarfline.store import tables

_ALERTS, _EVENTS = tables.alerts, tables.alert_events
# characters beyond ASCII are escaped, so that any text a machine sends can be kept
_dump = json.JSONEncoder(separators=(",", ":")).encode


def collected(alert: Alert) -> dict[str, Any]:
    """The columns that the collector writes; those of people are not among them."""
    return {
        "rule": alert.rule,
        "machine": alert.machine,
        "subject": alert.subject,
        "severity": alert.severity,
        "text": alert.text,
        "raised_us": alert.raised_us,
        "cleared_us": alert.cleared_us,
        "detail": _dump(alert.detail),
        "times": alert.times,
        "again_us": alert.again_us,
        "changed_us": alert.changed_us,
    }


def acknowledging(said: Acknowledgement | None) -> dict[str, Any]:
    """The columns of an acknowledgement, or of none."""
    told = (None, None, None) if said is None else (said.at_us, said.who, said.note)
    return dict(zip(("acknowledged_us", "acknowledged_by", "acknowledged_note"), told, strict=True))


def shelving(said: Shelving | None) -> dict[str, Any]:
    """The columns of a shelving, or of none."""
    told = (None,) * 4 if said is None else (said.at_us, said.until_us, said.who, said.note)
    return dict(zip(("shelved_us", "shelved_until_us", "shelved_by", "shelved_note"), told, strict=True))


def from_alert_row(row: Mapping[Any, Any]) -> Alert:
    """The alert of a row."""
    known = shelved = None
    if row["acknowledged_us"] is not None:
        known = Acknowledgement(row["acknowledged_by"], row["acknowledged_us"], row["acknowledged_note"])
    if row["shelved_until_us"] is not None:
        shelved = Shelving(row["shelved_until_us"], row["shelved_by"], row["shelved_us"], row["shelved_note"])
    return Alert(
        row["rule"], row["machine"], row["subject"], row["severity"], row["text"], row["raised_us"],
        row["cleared_us"], json.loads(row["detail"]), row["times"], row["again_us"], row["changed_us"],
        known, shelved, row["id"],
    )  # fmt: skip


def in_span(start_us: int | None, end_us: int | None) -> list[ColumnElement[bool]]:
    """That an alert stood at some time in [start, end); None: without that edge."""
    wanted: list[ColumnElement[bool]] = []
    if start_us is not None:
        wanted.append(or_(_ALERTS.c.cleared_us.is_(None), _ALERTS.c.cleared_us > start_us))
    if end_us is not None:
        wanted.append(_ALERTS.c.raised_us < end_us)
    return wanted


def found(
    engine: Engine, wanted: Sequence[ColumnElement[bool]], limit: int | None = None, sort: bool = True
) -> list[Alert]:
    """Alerts, newest first unless told not to sort."""
    query = select(_ALERTS).where(and_(True, *wanted))
    if sort:
        query = query.order_by(_ALERTS.c.raised_us.desc(), _ALERTS.c.id.desc())
    with engine.connect() as connection:
        return [from_alert_row(row) for row in connection.execute(query.limit(limit)).mappings()]


def events(engine: Engine, number: int) -> list[AlertEvent]:
    """The events of an alert that were kept, in the order of happening."""
    query = select(_EVENTS).where(_EVENTS.c.alert == number).order_by(_EVENTS.c.id)
    with engine.connect() as connection:
        rows = connection.execute(query).all()
    return [
        AlertEvent(r.kind, r.at_us, r.severity, r.text, r.who, r.note, r.until_us, json.loads(r.detail or "{}"))
        for r in rows
    ]


def keep_event(connection: Connection, number: int, event: AlertEvent) -> None:
    """Keep an event; the newest of several changes of the text in a row takes the place of the others."""
    newest = connection.execute(
        select(_EVENTS).where(_EVENTS.c.alert == number).order_by(_EVENTS.c.id.desc()).limit(1)
    ).first()
    told = {**asdict(replace(event, detail={})), "detail": _dump(event.detail)}
    if newest is not None and event.kind == newest.kind == TEXT_CHANGED:
        connection.execute(update(_EVENTS).where(_EVENTS.c.id == newest.id), told)
    else:
        connection.execute(insert(_EVENTS), {"alert": number, **told})
