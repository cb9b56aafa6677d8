"""Alerts acknowledged and shelved by people: each in a small transaction beside the one writer.

Whether it still applies is asked by the statement that writes, so of several who do the same at once one does it.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

from sqlalchemy import ColumnElement, Connection, Engine, select, update
from sqlalchemy.exc import DBAPIError

from swarfline.alerts import (
    ACKNOWLEDGED,
    SEVERITIES,
    SHELVED,
    UNACKNOWLEDGED,
    UNSHELVED,
    Acknowledgement,
    AlertEvent,
    Shelving,
    more_severe,
)
from swarfline.store import tables
from swarfline.store.alert_rows import acknowledging, keep_event, shelving
from swarfline.store.engine import StoreError

_ALERTS = tables.alerts


class Alerting:
    """What people may do with alerts. Every method tells whether it applied: False, and nothing was changed, where
    the alert is gone or is not as it needs to be. Raises StoreError when the database cannot be written."""

    def __init__(self, engine: Engine) -> None:
        self._engine = engine

    def acknowledge(self, number: int, said: Acknowledgement, seen: str | None = None) -> bool:
        """Of an alert that stands and was not acknowledged; ``seen``: and is not more severe than that."""
        wanted: list[ColumnElement[bool]] = [_ALERTS.c.cleared_us.is_(None), _ALERTS.c.acknowledged_us.is_(None)]
        if seen is not None:
            wanted.append(_ALERTS.c.severity.not_in([s for s in SEVERITIES if more_severe(s, seen)]))
        return self._write(number, wanted, acknowledging(said), ACKNOWLEDGED, said)

    def unacknowledge(self, number: int, said: Acknowledgement) -> bool:
        """Of an alert that stands and was acknowledged, by whomever."""
        wanted = [_ALERTS.c.cleared_us.is_(None), _ALERTS.c.acknowledged_us.is_not(None)]
        return self._write(number, wanted, acknowledging(None), UNACKNOWLEDGED, said)

    def shelve(self, number: int, said: Shelving) -> bool:
        """Of an alert that stands; one that is shelved already gets another end."""
        return self._write(number, [_ALERTS.c.cleared_us.is_(None)], shelving(said), SHELVED, said)

    def unshelve(self, number: int, said: Acknowledgement) -> bool:
        """Of an alert that is shelved, standing or not, before its time is over."""
        wanted = [_ALERTS.c.shelved_until_us > said.at_us]
        return self._write(number, wanted, shelving(None), UNSHELVED, said)

    def _write(
        self,
        number: int,
        wanted: Sequence[ColumnElement[bool]],
        values: dict[str, Any],
        kind: str,
        said: Acknowledgement | Shelving,
    ) -> bool:
        statement = update(_ALERTS).where(_ALERTS.c.id == number, *wanted).values(values)
        try:
            with self._engine.begin() as connection:
                if connection.execute(statement).rowcount != 1:
                    return False
                _note(connection, number, kind, said)
        except DBAPIError as problem:
            raise StoreError(
                f"the database cannot be written now ({problem.orig}); nothing was entered"
            ) from problem
        return True


def _note(connection: Connection, number: int, kind: str, said: Acknowledgement | Shelving) -> None:
    """Beside it, in the alert's history."""
    query = select(_ALERTS.c.severity, _ALERTS.c.text, _ALERTS.c.detail).where(_ALERTS.c.id == number)
    severity, text, detail = connection.execute(query).one()
    until_us = said.until_us if isinstance(said, Shelving) else None
    event = AlertEvent(kind, said.at_us, severity, text, said.who, said.note, until_us, json.loads(detail))
    keep_event(connection, number, event)
