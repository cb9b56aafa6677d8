"""Facts exchanged for others, worked out anew, while the service goes on writing.

What was worked out must be of the whole journal, so this happens in two parts: most of the journal is read while
the service writes, the rest under a lock that makes it wait; then facts are compared and exchanged in the same
transaction.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Engine, Table, select, text

from swarfline.facts import Fact
from swarfline.store import tables, tallies
from swarfline.store.journal import Arrival, arrivals
from swarfline.store.rows import from_row, names, to_rows
from swarfline.store.upserts import Upserts, remove
from swarfline.tallies import Tally


@dataclass(slots=True)
class Exchanged:
    """Rows of one kind of fact: as they were, altered, new, and taken away."""

    kept: int = 0
    changed: int = 0
    added: int = 0
    removed: int = 0


@contextmanager
def writing_alone(engine: Engine, table: Table) -> Iterator[Connection]:
    """A transaction beside which nobody writes to ``table``; reading goes on."""
    with engine.connect() as connection:
        if connection.dialect.name == "sqlite":
            connection.exec_driver_sql("BEGIN IMMEDIATE")
        else:
            connection.execute(text(f"LOCK TABLE {table.name} IN EXCLUSIVE MODE"))
        yield connection
        connection.commit()


class Exchange:
    """What may be done while nobody else writes."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection
        self._upserts = Upserts(connection.dialect)

    def arrivals(self, after: int) -> Iterator[tuple[int, list[Arrival]]]:
        """The commits of the journal numbered above ``after``; no more come while this lasts."""
        return arrivals(self._connection, after)

    def exchange(
        self, machine: str, start_us: int, end_us: int, facts: Iterable[Fact], dry: bool = False
    ) -> dict[str, Exchanged]:
        """Make the facts of a machine that begin in [start, end) these ``facts``; the outcome by kind.

        Rows that are equal are not written; ``dry``: none is.
        """
        wanted: dict[type[Fact], dict[object, Fact]] = {kind: {} for kind in tables.FACT_TABLES}
        for fact in facts:
            if start_us <= getattr(fact, tables.begun(type(fact)).name) < end_us:
                wanted[type(fact)][fact.key] = fact
        told = {}
        for kind, latest in wanted.items():
            there = self._there(kind, machine, start_us, end_us)
            told[kind.kind] = _compared(there, latest)
            if not dry:
                remove(self._connection, [fact for key, fact in there.items() if key not in latest])
                altered = [fact for key, fact in latest.items() if there.get(key) != fact]
                self._upserts.write(self._connection, tables.FACT_TABLES[kind], to_rows(kind, altered))
        if not dry and any(e.changed or e.added or e.removed for e in told.values()):
            tallies.forget_machine(self._connection, machine)
        return told

    def keep(self, tally: Tally) -> None:
        """Keep a tally of what the facts are now."""
        self._upserts.write(self._connection, tables.tallies, [tallies.to_row(tally)])

    def _there(self, kind: Any, machine: str, start_us: int, end_us: int) -> dict[object, Fact]:
        table = tables.FACT_TABLES[kind]
        moment = tables.begun(kind)
        query = select(*(table.c[name] for name in names(kind))).where(
            table.c.machine == machine, moment >= start_us, moment < end_us
        )
        found = (from_row(kind, row) for row in self._connection.execute(query).mappings())
        return {fact.key: fact for fact in found}


def _compared(there: Mapping[object, Fact], wanted: Mapping[object, Fact]) -> Exchanged:
    told = Exchanged(removed=len(there.keys() - wanted.keys()))
    for key, fact in wanted.items():
        if key not in there:
            told.added += 1
        elif there[key] == fact:
            told.kept += 1
        else:
            told.changed += 1
    return told
