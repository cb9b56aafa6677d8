"""The engine: what each kind of database needs to keep the store's promises."""

from __future__ import annotations

import importlib.util
import sqlite3
from pathlib import Path
from typing import Any

from sqlalchemy import Engine, create_engine, event
from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import ArgumentError

SQLITE_BUSY_S = 30
"""How long SQLite waits for another process's lock; ``?timeout=SECONDS`` in the URL sets another time."""


class StoreError(Exception):
    """The database cannot be used as it is; the message says what to do."""


def make_engine(url: str | URL) -> Engine:
    """An engine for a database URL; raises StoreError for one that is not supported."""
    target = _parsed(url)
    backend = target.get_backend_name()
    if backend == "sqlite":
        timeout = {} if "timeout" in target.query else {"timeout": SQLITE_BUSY_S}
        engine = create_engine(target, connect_args=timeout)
        event.listen(engine, "connect", _set_up_sqlite)
        return engine
    if backend == "postgresql":
        return create_engine(_with_driver(target), pool_pre_ping=True)
    raise StoreError(
        f"store url {target.render_as_string()}: {backend} is not supported; use sqlite or postgresql"
    )


def _parsed(url: str | URL) -> URL:
    try:
        return make_url(url)
    except (ArgumentError, ValueError):
        # the text may hold a password, so it is not repeated
        raise StoreError(
            "store url: not a database URL; allowed: sqlite:///FILE or postgresql://USER@HOST/DATABASE"
        ) from None


def _with_driver(target: URL) -> URL:
    if target.drivername == "postgresql":
        target = target.set(drivername="postgresql+psycopg")
    if target.drivername == "postgresql+psycopg" and importlib.util.find_spec("psycopg") is None:
        raise StoreError(
            f"store url {target.render_as_string()}: the driver is missing; install swarfline[postgresql]"
        )
    return target


def _set_up_sqlite(connection: sqlite3.Connection, _: object) -> None:
    """WAL lets readers go on while the one writer commits; FULL keeps a commit through a power loss."""
    cursor = connection.cursor()
    for pragma in ("journal_mode=WAL", "synchronous=FULL", "foreign_keys=ON"):
        cursor.execute(f"PRAGMA {pragma}")
    cursor.close()


def resolve_url(url: str, beside: Path | None = None) -> URL:
    """A database URL with a relative SQLite path made absolute, beside a file or in the working folder."""
    target: URL = _parsed(url)
    name: Any = target.database
    if target.get_backend_name() != "sqlite" or not name or name.startswith((":memory:", "file:")):
        return target
    folder = beside.parent if beside is not None else Path()
    return target.set(database=str((folder / name).absolute()))
