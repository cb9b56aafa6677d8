"""The engine: what each kind of database needs to keep the store's promises."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from sqlalchemy import Engine, Table, create_engine, event
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.engine import URL, Connection, make_url

SQLITE_BUSY_S = 30


class StoreError(Exception):
    """The database cannot be used as it is; the message says what to do."""


def make_engine(url: str | URL) -> Engine:
    """An engine for a database URL; raises StoreError for an engine that is not supported."""
    target = make_url(url)
    backend = target.get_backend_name()
    if backend == "sqlite":
        engine = create_engine(target, connect_args={"timeout": SQLITE_BUSY_S})
        event.listen(engine, "connect", _set_up_sqlite)
        return engine
    if backend == "postgresql":
        return create_engine(target, pool_pre_ping=True)
    raise StoreError(f"store url {url!s}: {backend} is not supported; use sqlite or postgresql")


def _set_up_sqlite(connection: Any, _: object) -> None:
    """WAL lets readers go on while the one writer commits; FULL keeps a commit through a power loss."""
    cursor = connection.cursor()
    for pragma in ("journal_mode=WAL", "synchronous=FULL", "foreign_keys=ON"):
        cursor.execute(f"PRAGMA {pragma}")
    cursor.close()


def upsert(connection: Connection, table: Table, rows: Sequence[dict[str, Any]]) -> None:
    """Insert rows; where the primary key is there already, the new row replaces the old one."""
    if not rows:
        return
    dialect = postgresql if connection.dialect.name == "postgresql" else sqlite
    statement = dialect.insert(table)
    keys = [c.name for c in table.primary_key.columns]
    update = {c.name: statement.excluded[c.name] for c in table.columns if c.name not in keys}
    connection.execute(statement.on_conflict_do_update(index_elements=keys, set_=update), list(rows))


def resolve_url(url: str, beside: Path | None = None) -> str:
    """A database URL with a relative SQLite path made absolute, beside a file or in the working folder."""
    target = make_url(url)
    if target.get_backend_name() != "sqlite" or not target.database or target.database == ":memory:":
        return url
    folder = beside.parent if beside is not None else Path()
    return str(target.set(database=str((folder / target.database).absolute())))
