"""A whole copy of an SQLite database, while others go on reading and writing it."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

from sqlalchemy import Engine, text
from sqlalchemy.exc import DBAPIError

from swarfline.store.engine import StoreError


def back_up(engine: Engine, target: Path) -> int:
    """``Store.back_up``."""
    if engine.dialect.name != "sqlite":
        raise StoreError("this database is no SQLite file; use its own means, of PostgreSQL pg_dump")
    if target.exists():
        raise StoreError(f"{target} is there already; name a new file")
    try:
        copy_whole(engine, target)
        return target.stat().st_size
    except (DBAPIError, OSError) as problem:
        raise StoreError(f"no copy could be written to {target}: {getattr(problem, 'orig', problem)}") from problem


def copy_whole(engine: Engine, target: Path) -> None:
    """Copy the database as it is at one moment into ``target``, which takes its name when it is complete.

    What stands there is replaced. Raises the database's error and OSError.
    """
    unfinished = target.with_name(f"{target.name}.unfinished")
    unfinished.unlink(missing_ok=True)
    with engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
        connection.execute(text("VACUUM INTO :target"), {"target": str(unfinished)})
    # who may not read the database may not read its copy either
    shutil.copymode(str(engine.url.database), unfinished)
    with unfinished.open("rb+") as copy:
        os.fsync(copy.fileno())
    unfinished.replace(target)
