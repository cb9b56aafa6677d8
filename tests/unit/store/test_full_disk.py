"""A full disk: the commit fails with nothing half-written and succeeds once there is room again."""

from __future__ import annotations

import random

import pytest
from sqlalchemy import event
from sqlalchemy.exc import OperationalError

from swarfline.facts import Alarm
from swarfline.store import Store

from .content import content, journaled
from .made import some_of_everything

resource = pytest.importorskip("resource", reason="no limits for a process on this system")


def large():
    """A batch of which the first rows find room, but not the others."""
    batch, chance = some_of_everything(1), random.Random(5)
    batch.facts = [*batch.facts, *(Alarm("N1", n, n + 1, str(chance.random())) for n in range(10_000))]
    return batch


@pytest.fixture
def begun(sqlite_store):
    """A writer that has stored something."""
    writer = sqlite_store.writer()
    writer.commit(some_of_everything())
    return writer


@pytest.fixture
def expected(tmp_path):
    """What a store with room enough holds in the end."""
    roomy = Store.open(f"sqlite:///{tmp_path / 'roomy.db'}")
    writer = roomy.writer()
    writer.commit(some_of_everything())
    writer.commit(large())
    yield content(roomy)
    roomy.close()


def test_no_page_is_left(sqlite_store, begun, expected):
    store, before, batch = sqlite_store, content(sqlite_store), large()

    def limit(connection):
        pages = connection.exec_driver_sql("PRAGMA page_count").scalar()
        connection.exec_driver_sql(f"PRAGMA max_page_count = {pages + 8}")

    event.listen(store.engine, "begin", limit)
    for _ in range(2):
        with pytest.raises(OperationalError, match="full"):
            begun.commit(batch)
        assert content(store) == before
    event.remove(store.engine, "begin", limit)
    event.listen(store.engine, "begin", lambda c: c.exec_driver_sql("PRAGMA max_page_count = 1000000"))
    begun.commit(batch)
    assert content(store) == expected
    assert len(journaled(store)) == 100


def test_the_system_refuses_to_write(sqlite_store, begun, expected, file):
    before, batch = content(sqlite_store), large()
    whole = resource.getrlimit(resource.RLIMIT_FSIZE)
    # the log may still grow a little, so that part of the commit is written
    log = file.with_name(f"{file.name}-wal").stat().st_size
    resource.setrlimit(resource.RLIMIT_FSIZE, (log + 60_000, whole[1]))
    try:
        with pytest.raises(OperationalError, match="disk"):
            begun.commit(batch)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, whole)
    assert content(sqlite_store) == before
    begun.commit(batch)
    assert content(sqlite_store) == expected
