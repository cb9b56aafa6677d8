"""Rows that replace the row with their primary key, and rows of facts taken away.

The statement is compiled once for each table and given to the driver with plain tuples: a commit holds thousands
of rows, and most of its time would go into turning each of them into a dictionary of checked values and back.
"""

from __future__ import annotations

import logging
import re
from collections.abc import Iterable, Sequence
from contextlib import AbstractContextManager, nullcontext
from typing import Any

from sqlalchemy import Connection, Dialect, Float, Table, delete
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.exc import DataError

from swarfline.facts import Fact
from swarfline.store import tables

Row = tuple[Any, ...]

_LEAST, _MOST = -(2**63), 2**63 - 1
_NO_TEXT = {"sqlite": re.compile("[\ud800-\udfff]"), "postgresql": re.compile("[\0\ud800-\udfff]")}

log = logging.getLogger("swarfline.store")


def remove(connection: Connection, facts: Iterable[Fact]) -> None:
    """Take away the rows with the keys of these facts; where there is none, nothing happens."""
    for fact in facts:
        table = tables.FACT_TABLES[type(fact)]
        keys = (column == getattr(fact, column.name) for column in table.primary_key)
        connection.execute(delete(table).where(*keys))


class Upserts:
    """Writes rows, given as tuples in the order of their table's columns."""

    def __init__(self, dialect: Dialect) -> None:
        self._dialect = dialect
        self._texts: dict[str, str] = {}

    def write(self, connection: Connection, table: Table, rows: Sequence[Row]) -> None:
        """Insert rows; where the primary key is there already, the new row replaces the old one.

        What no column can hold (half a surrogate pair, an integer beyond 64 bit) is replaced by the nearest that
        it can, with a warning: one machine's nonsense must not keep the readings of the others out.
        """
        if not rows:
            return
        try:
            with self._attempt(connection):
                self._send(connection, table, rows)
        except (UnicodeEncodeError, OverflowError, DataError) as problem:
            cause = getattr(problem, "orig", None) or problem
            log.warning("table %s: %s; the nearest value that can be stored is kept", table.name, cause)
            self._send(connection, table, [self._storable(table, row) for row in rows])

    def _attempt(self, connection: Connection) -> AbstractContextManager[object]:
        """PostgreSQL's transactions do not survive a refused statement, SQLite's do."""
        return nullcontext() if self._dialect.name == "sqlite" else connection.begin_nested()

    def _send(self, connection: Connection, table: Table, rows: Sequence[Row]) -> None:
        text = self._texts.get(table.name)
        if text is None:
            text = self._texts[table.name] = self._compiled(table)
        if self._dialect.positional:
            connection.exec_driver_sql(text, list(rows))
        else:
            names = table.columns.keys()
            connection.exec_driver_sql(text, [dict(zip(names, row, strict=True)) for row in rows])

    def _compiled(self, table: Table) -> str:
        module = postgresql if self._dialect.name == "postgresql" else sqlite
        statement = module.insert(table).inline()
        keys = [column.name for column in table.primary_key]
        update = {c.name: statement.excluded[c.name] for c in table.columns if c.name not in keys}
        whole = statement.on_conflict_do_update(index_elements=keys, set_=update)
        return str(whole.compile(dialect=self._dialect))

    def _storable(self, table: Table, row: Row) -> Row:
        """A row whose values every column can hold, as near as possible to what it was."""
        unfit = _NO_TEXT[self._dialect.name]
        return tuple(
            unfit.sub("\ufffd", value) if isinstance(value, str) else _number(value, column.type)
            for value, column in zip(row, table.columns, strict=True)
        )


def _number(value: Any, kind: Any) -> Any:
    if not isinstance(value, int) or _LEAST <= value <= _MOST:
        return value
    return _real(value) if isinstance(kind, Float) else max(_LEAST, min(_MOST, value))


def _real(value: int) -> float:
    try:
        return float(value)
    except OverflowError:
        return float("inf") if value > 0 else float("-inf")
