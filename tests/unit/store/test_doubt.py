"""A commit whose outcome was not heard is not stored twice, and two writers do not number over one another."""

from __future__ import annotations

import threading
from dataclasses import replace

import pytest
from sqlalchemy.exc import IntegrityError

from swarfline.store import Batch, StoreError

from .content import content, journaled
from .made import readings, some_of_everything


class LostError(Exception):
    """The connection broke while the database was committing."""


@pytest.fixture
def unheard(store, monkeypatch):
    """The next commit is done, but the answer is lost."""
    dialect = store.engine.dialect
    commit = type(dialect).do_commit

    def set_up():
        def once(connection):
            monkeypatch.undo()
            commit(dialect, connection)
            raise LostError

        monkeypatch.setattr(dialect, "do_commit", once)

    return set_up


def test_the_same_batch_is_not_stored_twice(store, unheard):
    writer = store.writer()
    writer.commit(some_of_everything(0))
    unheard()
    with pytest.raises(LostError):
        writer.commit(some_of_everything(1))
    done = content(store)
    writer.commit(some_of_everything(1))
    assert content(store) == done
    writer.commit(some_of_everything(2))
    assert [(number, reading.value) for number, reading, _ in journaled(store)] == [(n, n) for n in range(150)]


def test_another_batch_is_stored_after_it(store, unheard):
    writer = store.writer()
    unheard()
    with pytest.raises(LostError):
        writer.commit(Batch(readings=readings(7)))
    writer.commit(Batch(readings=readings(7, first=7)))
    assert [(number, reading.value) for number, reading, _ in journaled(store)] == [(n, n) for n in range(14)]


def test_a_batch_without_readings(store, unheard):
    batch = replace(some_of_everything(), readings=(), late=())
    writer = store.writer()
    unheard()
    with pytest.raises(LostError):
        writer.commit(batch)
    done = content(store)
    writer.commit(batch)
    assert content(store) == done
    assert len(done["alerts"]) == 1


def test_a_second_writer_is_kept_out(store):
    first, second = store.writer(), store.writer()
    first.commit(Batch(readings=readings(5)))
    with pytest.raises(IntegrityError):
        second.commit(Batch(readings=readings(5, first=5)))
    for _ in range(2):
        with pytest.raises(StoreError, match="another process writes readings to the same database; stop one"):
            second.commit(Batch(readings=readings(5, first=5)))
    first.commit(Batch(readings=readings(5, first=5)))
    assert [(number, reading.value) for number, reading, _ in journaled(store)] == [(n, n) for n in range(10)]


def test_commits_of_several_threads_follow_one_another(store):
    # a collector that is stopped commits what is left while its last commit may still go on
    writer = store.writer()
    batches = [Batch(readings=readings(200, machine=f"N{n}"), checkpoints={"N1": {}}) for n in range(8)]
    threads = [threading.Thread(target=writer.commit, args=(batch,)) for batch in batches]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert [number for number, _, _ in journaled(store)] == [*range(1600)]
