"""Bring a database to this version's schema: backup first, one transaction, refuse what is newer."""

from __future__ import annotations

from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Engine, text

from swarfline.store.engine import StoreError


def _config() -> Config:
    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent / "migrations").replace("%", "%%"))
    return config


def newest() -> str:
    """The revision that this version of the program writes."""
    head = ScriptDirectory.from_config(_config()).get_current_head()
    assert head is not None
    return head


def present(engine: Engine) -> str | None:
    """The revision of a database, None when it is empty."""
    with engine.connect() as connection:
        return MigrationContext.configure(connection).get_current_revision()


def upgrade(engine: Engine) -> Path | None:
    """Upgrade to ``newest``; returns the backup made of an older SQLite file, None when none was needed.

    Raises StoreError when the database was written by a newer version of the program.
    """
    found = present(engine)
    if found == newest():
        return None
    known = {script.revision for script in ScriptDirectory.from_config(_config()).walk_revisions()}
    if found is not None and found not in known:
        raise StoreError(
            f"the database {engine.url.render_as_string()} has schema revision {found}, which this "
            f"version does not know (newest here: {newest()}); install the newer program again, or restore an older backup"  # noqa: E501
        )
    backup = _back_up(engine, found) if found is not None else None
    with engine.begin() as connection:
        config = _config()
        config.attributes["connection"] = connection
        command.upgrade(config, "head")
    return backup


def _back_up(engine: Engine, revision: str) -> Path | None:
    """A whole copy of an SQLite file beside it; other engines have their own means."""
    if engine.dialect.name != "sqlite" or not engine.url.database:
        return None
    target = Path(f"{engine.url.database}.before-{newest()}-from-{revision}")
    if not target.exists():
        with engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
            connection.execute(text("VACUUM INTO :target"), {"target": str(target)})
    return target
