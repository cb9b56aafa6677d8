"""One collector to a database: claimed at its start, given back at its end, however that came.

A second one would give the readings the same numbers. The operating system and the server of PostgreSQL free a
claim with the process that held it.
"""

from __future__ import annotations

import fcntl
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy import Engine, text

from swarfline.store.engine import StoreError

_LOCK = 7_302_281_141
"""Where the numbers of PostgreSQL's advisory locks for collecting begin; any number that no one else takes."""

# an advisory lock holds for a whole database, which may have a plant in each of its schemas
_TRY = text("SELECT pg_try_advisory_lock(:first + oid::bigint) FROM pg_namespace WHERE nspname = current_schema()")


@contextmanager
def claimed(engine: Engine) -> Iterator[None]:
    """Collecting into this database, alone. Raises StoreError when somebody does already."""
    if engine.dialect.name == "sqlite":
        with _file_locked(engine):
            yield
    else:
        with _number_locked(engine):
            yield


@contextmanager
def _file_locked(engine: Engine) -> Iterator[None]:
    # the file stays: one that is taken away while another waits for it would be locked twice
    with Path(f"{engine.url.database}.collector").open("a") as held:
        try:
            fcntl.flock(held, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            raise _taken(engine) from None
        yield


@contextmanager
def _number_locked(engine: Engine) -> Iterator[None]:
    with engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
        if not connection.execute(_TRY, {"first": _LOCK}).scalar():
            raise _taken(engine)
        try:
            yield
        finally:
            # the connection goes back to the pool, and would hold the lock there
            connection.invalidate()


def _taken(engine: Engine) -> StoreError:
    return StoreError(
        f"another process collects into the database {engine.url.render_as_string()}; stop it first, or run this "
        "one with --only serve"
    )
