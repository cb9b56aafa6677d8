"""A commit that fails anywhere leaves everything as it was, and may be repeated."""

from __future__ import annotations

from contextlib import contextmanager

import pytest
from sqlalchemy import event

from swarfline.signals import Reading
from swarfline.store import Batch, Store

from .content import content, journaled
from .made import some_of_everything

STATEMENTS = 15
"""At least: journal, eight kinds of fact, checkpoints, pictures, servers, alerts changed, sought and raised."""


class Failure(BaseException):
    """The end of the program, as far as the store can tell."""


@contextmanager
def failing(store, name, number):
    """The ``number``-th of these events fails; gives what was seen of them."""
    seen = []

    def fail(*_):
        seen.append(name)
        if len(seen) == number:
            raise Failure

    event.listen(store.engine, name, fail)
    yield seen
    event.remove(store.engine, name, fail)


@pytest.fixture
def undisturbed(tmp_path):
    """What a store holds after so many turns."""
    store = Store.open(f"sqlite:///{tmp_path / 'undisturbed.db'}")

    def after(turns):
        writer = store.writer()
        for turn in range(turns):
            writer.commit(some_of_everything(turn))
        return content(store)

    yield after
    store.close()


def test_failing_at_each_statement(store, undisturbed):
    writer, number, failed = store.writer(), 0, True
    while failed:
        before, batch = content(store), some_of_everything(number)
        number += 1
        with failing(store, "before_cursor_execute", number) as seen:
            failed = _fails(writer, batch)
        assert failed == (len(seen) == number)
        if failed:
            assert content(store) == before
            writer.commit(batch)
    assert number > STATEMENTS
    assert content(store) == undisturbed(number)


def test_failing_at_the_commit_itself(store, undisturbed):
    writer = store.writer()
    writer.commit(some_of_everything(0))
    before, batch = content(store), some_of_everything(1)
    with failing(store, "commit", 1):
        assert _fails(writer, batch)
    assert content(store) == before
    writer.commit(batch)
    assert content(store) == undisturbed(2)


def test_another_batch_may_follow_one_that_failed(store):
    writer = store.writer()
    with failing(store, "commit", 1):
        assert _fails(writer, some_of_everything(0))
    other = Batch(readings=[Reading("S2", "state", 5, 5, "executing")])
    writer.commit(other)
    assert journaled(store) == [(0, other.readings[0], False)]


def test_a_writer_of_a_later_start_goes_on_the_same(store, undisturbed):
    store.writer().commit(some_of_everything(0))
    with failing(store, "before_cursor_execute", STATEMENTS):
        assert _fails(store.writer(), some_of_everything(1))
    store.writer().commit(some_of_everything(1))
    assert content(store) == undisturbed(2)


def _fails(writer, batch):
    try:
        writer.commit(batch)
    except Failure:
        return True
    return False
