"""The one writer: journal, facts, checkpoint, alerts, messages and the present picture in one transaction."""

from __future__ import annotations

import json
import threading
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import Connection, Engine, insert, select

from swarfline.alerts import Alert
from swarfline.facts import Fact
from swarfline.messages import Message
from swarfline.signals import Reading
from swarfline.store import tables, tallies
from swarfline.store.alert_changes import change_alerts, raise_alerts
from swarfline.store.engine import StoreError
from swarfline.store.journal import Block, Journal, next_number, payloads
from swarfline.store.outbox import queue
from swarfline.store.rows import to_rows
from swarfline.store.upserts import Upserts, remove

_INSERT_BLOCKS = insert(tables.journal)
# characters beyond ASCII are escaped, so that any text a machine sends can be kept
_dump = json.JSONEncoder(separators=(",", ":")).encode


@dataclass(slots=True)
class Batch:
    """All that one commit holds. ``checkpoints`` and ``now`` by machine, ``servers`` by server: plain data.

    ``retracted`` are facts to be taken away before ``facts`` are kept; only their keys count.
    """

    readings: Sequence[Reading] = ()
    late: Sequence[int] = ()
    facts: Sequence[Fact] = ()
    retracted: Sequence[Fact] = ()
    checkpoints: Mapping[str, dict[str, Any]] = field(default_factory=dict)
    now: Mapping[str, dict[str, Any]] = field(default_factory=dict)
    servers: Mapping[str, dict[str, Any]] = field(default_factory=dict)
    seen_us: int = 0
    raised: Sequence[Alert] = ()
    changed: Sequence[Alert] = ()
    messages: Sequence[Message] = ()


class Writer:
    """Commits batches; there is one in the plant. Everything of a batch is stored, or nothing."""

    def __init__(self, engine: Engine) -> None:
        self._engine = engine
        self._journal = Journal()
        self._upserts = Upserts(engine.dialect)
        self._lock = threading.Lock()
        self._doubt: tuple[Batch, list[Block]] | None = None
        with engine.connect() as connection:
            self._next = next_number(connection)

    def commit(self, batch: Batch) -> None:
        """Store a batch; raises the database's error with nothing stored, and may then be called again.

        When the connection broke while the database was committing, it may have stored the batch all the same;
        the same batch is not stored twice then. Raises StoreError for readings that the journal cannot hold and
        when another process journals to the same database.
        """
        with self._lock:
            if self._doubt is not None and self._settle(batch, *self._doubt):
                return
            blocks = self._journal.blocks(batch.readings, self._next, batch.late)
            try:
                with self._engine.begin() as connection:
                    self._write(connection, batch, blocks)
            except BaseException:
                self._doubt = batch, blocks
                raise
            self._next += len(batch.readings)

    def _settle(self, batch: Batch, failed: Batch, blocks: list[Block]) -> bool:
        """Find out what became of a commit that failed; True when it was stored and ``batch`` is the same."""
        with self._engine.connect() as connection:
            found = payloads(connection, self._next)
        if found and found != [block["payload"] for block in blocks]:
            raise StoreError("another process writes readings to the same database; stop one of the two")
        self._doubt = None
        if found:
            self._next += len(failed.readings)
        return bool(found) and failed == batch

    def _write(self, connection: Connection, batch: Batch, blocks: list[Block]) -> None:
        if blocks:
            connection.execute(_INSERT_BLOCKS, blocks)
        remove(connection, batch.retracted)
        self._write_facts(connection, batch.facts)
        tallies.forget(connection, [*batch.retracted, *batch.facts])
        self._write_states(connection, batch)
        change_alerts(connection, batch.changed)
        raise_alerts(connection, batch.raised)
        queue(connection, batch.messages)

    def _write_facts(self, connection: Connection, facts: Iterable[Fact]) -> None:
        by_kind: dict[type[Fact], dict[object, Fact]] = {}
        for fact in facts:
            by_kind.setdefault(type(fact), {})[fact.key] = fact
        for kind, latest in by_kind.items():
            self._upserts.write(connection, tables.FACT_TABLES[kind], to_rows(kind, latest.values()))

    def _write_states(self, connection: Connection, batch: Batch) -> None:
        write, number = self._upserts.write, self._next + len(batch.readings)
        checkpoints = [(machine, number, _dump(state)) for machine, state in batch.checkpoints.items()]
        write(connection, tables.checkpoints, checkpoints)
        write(connection, tables.machine_now, [(machine, _dump(state)) for machine, state in batch.now.items()])
        servers = [(server, _dump(status), batch.seen_us) for server, status in batch.servers.items()]
        write(connection, tables.servers, servers)


def load_checkpoints(connection: Connection) -> dict[str, dict[str, Any]]:
    """The interpreter's state by machine, as of the last commit."""
    rows = connection.execute(select(tables.checkpoints.c.machine, tables.checkpoints.c.state))
    return {machine: json.loads(state) for machine, state in rows}
