"""A fresh database for each test: an SQLite file, or a schema of the PostgreSQL database that a variable names."""

from __future__ import annotations

import os
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from sqlalchemy import create_engine, make_url, text

from swarfline.store import Store

POSTGRESQL = os.environ.get("SWARFLINE_TEST_POSTGRESQL", "")
"""URL of a database in which these tests may make and drop schemas, such as postgresql+psycopg://me@host/test."""


@pytest.fixture
def file(tmp_path: Path) -> Path:
    """Where an SQLite database may be made."""
    return tmp_path / "plant.db"


@contextmanager
def empty_database(file: Path) -> Iterator[str]:
    """URL of an empty database: this file, or a schema of its own."""
    if not POSTGRESQL:
        yield f"sqlite:///{file}"
        return
    schema, engine = f"test_{uuid.uuid4().hex}", create_engine(POSTGRESQL)
    with engine.begin() as connection:
        connection.execute(text(f"CREATE SCHEMA {schema}"))
    options = {"options": f"-csearch_path={schema}"}
    yield make_url(POSTGRESQL).update_query_dict(options).render_as_string(hide_password=False)
    with engine.begin() as connection:
        connection.execute(text(f"DROP SCHEMA {schema} CASCADE"))
    engine.dispose()


@pytest.fixture
def url(file: Path) -> Iterator[str]:
    """URL of an empty database."""
    with empty_database(file) as made:
        yield made


@pytest.fixture
def store(url: str) -> Iterator[Store]:
    """An empty store."""
    opened = Store.open(url)
    yield opened
    opened.close()


@pytest.fixture
def sqlite_store(file: Path) -> Iterator[Store]:
    """An empty store in an SQLite file that gives up on a lock at once."""
    opened = Store.open(f"sqlite:///{file}?timeout=0.05")
    yield opened
    opened.close()
