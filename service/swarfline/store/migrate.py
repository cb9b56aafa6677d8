"""Bring a database to this version's schema: backup first, one transaction, refuse what is newer."""

from __future__ import annotations

from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, Engine, text
from sqlalchemy.exc import DBAPIError

from swarfline.store.copying import copy_whole
from swarfline.store.engine import StoreError

SCRIPTS = Path(__file__).parent / "migrations"
_LOCK = 7_302_281_140
"""Number of PostgreSQL's advisory lock for upgrades; any number that no one else takes."""


def _config(scripts: Path) -> Config:
    config = Config()
    config.set_main_option("script_location", str(scripts).replace("%", "%%"))
    return config


def newest(scripts: Path = SCRIPTS) -> str:
    """The revision that this version of the program writes."""
    head = ScriptDirectory.from_config(_config(scripts)).get_current_head()
    assert head is not None
    return head


def present(engine: Engine) -> str | None:
    """The revision of a database, None when it is empty."""
    with engine.connect() as connection:
        return MigrationContext.configure(connection).get_current_revision()


def prepare(engine: Engine, scripts: Path = SCRIPTS) -> Path | None:
    """``upgrade`` for a database that was just named; raises StoreError for everything that is in the way."""
    try:
        return upgrade(engine, scripts)
    except DBAPIError as problem:
        engine.dispose()
        raise StoreError(
            f"the database {engine.url.render_as_string()} cannot be opened: {problem.orig}"
        ) from problem
    except BaseException:
        engine.dispose()
        raise


def upgrade(engine: Engine, scripts: Path = SCRIPTS) -> Path | None:
    """Upgrade to ``newest``; returns the backup made of an older SQLite file, None when none was needed.

    Raises StoreError when the database was written by a newer version of the program.
    """
    found, head = present(engine), newest(scripts)
    if found == head:
        return None
    _refuse_unknown(engine, found, scripts)
    backup = _back_up(engine, f"before-{head}-from-{found}") if found is not None else None
    with engine.begin() as connection:
        _lock(connection)
        config = _config(scripts)
        config.attributes["connection"] = connection
        command.upgrade(config, "head")
    return backup


def _refuse_unknown(engine: Engine, found: str | None, scripts: Path) -> None:
    known = {script.revision for script in ScriptDirectory.from_config(_config(scripts)).walk_revisions()}
    if found is not None and found not in known:
        raise StoreError(
            f"the database {engine.url.render_as_string()} has schema revision {found}, which this version does "
            f"not know (newest here: {newest(scripts)}); install the newer program again, or restore an older "
            "backup"
        )


def _lock(connection: Connection) -> None:
    """Two processes that start at once upgrade one after the other.

    SQLite's driver begins no transaction for statements that make tables: a crash would leave half of them.
    """
    if connection.dialect.name == "sqlite":
        connection.exec_driver_sql("BEGIN IMMEDIATE")
    else:
        connection.execute(text("SELECT pg_advisory_xact_lock(:number)"), {"number": _LOCK})


def _back_up(engine: Engine, suffix: str) -> Path | None:
    """A whole copy of an SQLite file beside it; other engines have their own means.

    It takes its name when it is complete, in place of one that an earlier attempt left.
    """
    if engine.dialect.name != "sqlite" or not engine.url.database:
        return None
    target = Path(f"{engine.url.database}.{suffix}")
    copy_whole(engine, target)
    return target
