"""The migrated schema is the one that the program's tables tell."""

from __future__ import annotations

import re

from alembic.autogenerate import compare_metadata
from alembic.runtime.migration import MigrationContext
from sqlalchemy import create_engine, text

from swarfline.store import tables


def test_nothing_is_left_to_migrate(store):
    with store.engine.connect() as connection:
        options = {"compare_type": True, "compare_server_default": True}
        context = MigrationContext.configure(connection, opts=options)
        assert compare_metadata(context, tables.metadata) == []


def test_every_table_is_made_as_it_would_be_made_afresh(sqlite_store, tmp_path):
    # what the comparison above passes over: keys, clustering, checks
    fresh = create_engine(f"sqlite:///{tmp_path / 'fresh.db'}")
    tables.metadata.create_all(fresh)
    made = statements(fresh)
    assert statements(sqlite_store.engine) == made
    assert "WITHOUT ROWID" in made["conditions"]
    fresh.dispose()


def statements(engine):
    """The statement that made each table and index, its lines sorted."""
    query = text("SELECT name, sql FROM sqlite_master WHERE sql IS NOT NULL AND name != 'alembic_version'")
    with engine.connect() as connection:
        return {name: _lines(sql) for name, sql in connection.execute(query)}


def _lines(sql):
    """What is made, its parts in order of the alphabet, and what stands behind: added columns come last."""
    head, _, rest = " ".join(sql.split()).partition("(")
    parts, _, tail = rest.rpartition(")")
    return [head.strip(), tail.strip(), *sorted(part.strip() for part in re.split(r",(?![^()]*\))", parts))]
