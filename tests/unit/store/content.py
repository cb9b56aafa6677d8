"""All that a store holds, to compare two of them or one before and after."""

from __future__ import annotations

from operator import itemgetter

from sqlalchemy import select

from swarfline.store import tables
from swarfline.store.pack import unpack
from swarfline.store.rows import from_row


def content(store):
    """Rows by table, in the order of their keys; row numbers count for the order only."""
    with store.engine.connect() as connection:
        return {
            table.name: [
                _plain(row) for row in connection.execute(select(table).order_by(*table.primary_key.columns))
            ]
            for table in tables.metadata.sorted_tables
        }


def _plain(row):
    return tuple(value for name, value in row._mapping.items() if name not in ("id", "alert"))


def kept(store, kind):
    """Every fact of one kind."""
    with store.engine.connect() as connection:
        return [from_row(kind, row) for row in connection.execute(select(tables.FACT_TABLES[kind])).mappings()]


def journaled(store):
    """(arrival number, reading, late) of everything in the journal, by number."""
    with store.engine.connect() as connection:
        blocks = connection.execute(select(tables.journal.c.first_number, tables.journal.c.payload)).all()
    numbered = [(first + place, reading, late) for first, data in blocks for place, reading, late in unpack(data)]
    return sorted(numbered, key=itemgetter(0))


def next_numbers(store):
    """The arrival number up to which each machine's checkpoint goes."""
    table = tables.checkpoints
    with store.engine.connect() as connection:
        return {row.machine: row.next_number for row in connection.execute(select(table))}
