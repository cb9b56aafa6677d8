"""The one writer: journal, facts, checkpoint, alerts and the present picture in one transaction."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import Connection, Engine, insert, select, update

from swarfline.alerts import Alert
from swarfline.facts import Fact
from swarfline.signals import Reading
from swarfline.store import tables
from swarfline.store.engine import upsert
from swarfline.store.journal import Journal, next_number
from swarfline.store.rows import to_row


@dataclass(slots=True)
class Batch:
    """All that one commit holds. ``checkpoints`` and ``now`` by machine, ``servers`` by server: plain data."""

    readings: Sequence[Reading] = ()
    late: Sequence[int] = ()
    facts: Sequence[Fact] = ()
    checkpoints: Mapping[str, dict[str, Any]] = field(default_factory=dict)
    now: Mapping[str, dict[str, Any]] = field(default_factory=dict)
    servers: Mapping[str, dict[str, Any]] = field(default_factory=dict)
    seen_us: int = 0
    raised: Sequence[Alert] = ()
    changed: Sequence[Alert] = ()


class Writer:
    """Commits batches; there is one in the plant. Everything of a batch is stored, or nothing."""

    def __init__(self, engine: Engine) -> None:
        self._engine = engine
        self._journal = Journal()
        with engine.connect() as connection:
            self._next = next_number(connection)

    def commit(self, batch: Batch) -> None:
        """Store a batch; raises the database's error with nothing stored, and may then be called again."""
        with self._engine.begin() as connection:
            self._write_readings(connection, batch)
            self._write_facts(connection, batch.facts)
            _write_states(connection, batch, self._next + len(batch.readings))
            _write_alerts(connection, batch)
        self._next += len(batch.readings)

    def _write_readings(self, connection: Connection, batch: Batch) -> None:
        if batch.readings:
            blocks = self._journal.blocks(batch.readings, self._next, batch.late)
            connection.execute(insert(tables.journal), blocks)

    @staticmethod
    def _write_facts(connection: Connection, facts: Iterable[Fact]) -> None:
        by_kind: dict[type[Fact], dict[object, Fact]] = {}
        for fact in facts:
            by_kind.setdefault(type(fact), {})[fact.key] = fact
        for kind, latest in by_kind.items():
            upsert(connection, tables.FACT_TABLES[kind], [to_row(fact) for fact in latest.values()])


def _write_states(connection: Connection, batch: Batch, number: int) -> None:
    upsert(
        connection,
        tables.checkpoints,
        [{"machine": m, "next_number": number, "state": _dump(s)} for m, s in batch.checkpoints.items()],
    )
    upsert(connection, tables.machine_now, [{"machine": m, "state": _dump(s)} for m, s in batch.now.items()])
    upsert(
        connection,
        tables.servers,
        [{"server": s, "status": _dump(v), "seen_us": batch.seen_us} for s, v in batch.servers.items()],
    )


def _dump(state: Mapping[str, Any]) -> str:
    return json.dumps(state, separators=(",", ":"), ensure_ascii=False)


def _write_alerts(connection: Connection, batch: Batch) -> None:
    if batch.raised:
        connection.execute(insert(tables.alerts), [_alert_row(a) for a in batch.raised])
    table = tables.alerts
    for alert in batch.changed:
        connection.execute(
            update(table)
            .where(
                table.c.rule == alert.rule,
                table.c.machine == alert.machine,
                table.c.subject == alert.subject,
                table.c.cleared_us.is_(None),
            )
            .values(_alert_row(alert))
        )


def _alert_row(alert: Alert) -> dict[str, Any]:
    return {
        "rule": alert.rule,
        "machine": alert.machine,
        "subject": alert.subject,
        "severity": alert.severity,
        "text": alert.text,
        "raised_us": alert.raised_us,
        "cleared_us": alert.cleared_us,
        "detail": _dump(alert.detail),
    }


def load_checkpoints(connection: Connection) -> dict[str, dict[str, Any]]:
    """The interpreter's state by machine, as of the last commit."""
    rows = connection.execute(select(tables.checkpoints.c.machine, tables.checkpoints.c.state))
    return {machine: json.loads(state) for machine, state in rows}
