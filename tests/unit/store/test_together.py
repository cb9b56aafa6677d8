"""Readers go on while the writer commits; a lock of another process is waited for, and then told."""

from __future__ import annotations

import sqlite3
import subprocess
import sys
import threading
import time

import pytest
from sqlalchemy import select
from sqlalchemy.exc import OperationalError

from swarfline.facts import Condition
from swarfline.store import Batch, Store, tables

from .content import content, journaled
from .made import readings, some_of_everything

READERS, SEEN = 4, 5
PATIENCE_S = 20.0


def turn_batch(turn):
    """Twenty facts that all tell the turn."""
    facts = [Condition("N1", n, n + 1, "producing", alarm_code=str(turn)) for n in range(20)]
    return Batch(readings=readings(20, first=20 * turn), facts=facts, now={"N1": {"turn": turn}})


class Reader(threading.Thread):
    """Asks again and again; keeps the turns that it was told."""

    def __init__(self, store, enough):
        super().__init__()
        self.store, self.enough = store, enough
        self.turns, self.problem = [0], None

    def run(self):
        try:
            while not self.enough.is_set():
                told = {int(fact.alarm_code) for fact in self.store.queries.facts(Condition, "N1", 0, 99)}
                assert len(told) == 1
                self.turns.append(told.pop())
                self.turns.append(self.store.queries.now("N1")["turn"])
        except BaseException as problem:
            self.problem = problem


def test_readers_see_whole_commits_while_the_writer_goes_on(store):
    writer, enough = store.writer(), threading.Event()
    writer.commit(turn_batch(0))
    readers = [Reader(store, enough) for _ in range(READERS)]
    for reader in readers:
        reader.start()
    turn, end_s = 0, time.monotonic() + PATIENCE_S
    while any(len(set(reader.turns)) < SEEN for reader in readers) and time.monotonic() < end_s:
        turn += 1
        writer.commit(turn_batch(turn))
    enough.set()
    for reader in readers:
        reader.join()
    assert [reader.problem for reader in readers] == [None] * READERS
    assert all(reader.turns == sorted(reader.turns) for reader in readers)
    assert all(len(set(reader.turns)) >= SEEN for reader in readers)
    assert len(journaled(store)) == 20 * (turn + 1)


def test_a_reader_in_the_middle_of_an_answer_holds_nobody_up(store):
    writer = store.writer()
    writer.commit(Batch(facts=[Condition("N1", n, n + 1, "waiting") for n in range(5000)]))
    with store.engine.connect() as connection:
        rows = connection.execute(select(tables.conditions).execution_options(yield_per=10))
        assert next(iter(rows)).condition == "waiting"
        writer.commit(Batch(facts=[Condition("N1", n, n + 1, "producing") for n in range(5000)]))
        assert {row.condition for row in rows} == {"waiting"}
    assert {fact.condition for fact in store.queries.facts(Condition, "N1", 0, 9999)} == {"producing"}


HOLD = """
import sqlite3, sys
connection = sqlite3.connect(sys.argv[1], isolation_level=None)
connection.execute("BEGIN IMMEDIATE")
print("held", flush=True)
sys.stdin.read()
"""


@pytest.fixture
def lock(sqlite_store, file):
    """Another process holds the database's lock; to be ended by the test."""
    command = [sys.executable, "-c", HOLD, str(file)]
    process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE)
    assert process.stdout.readline() == b"held\n"
    yield process
    process.kill()
    process.communicate()


def test_a_lock_is_told_and_the_commit_may_be_repeated(sqlite_store, lock):
    writer, before = sqlite_store.writer(), content(sqlite_store)
    for _ in range(2):
        with pytest.raises(OperationalError, match="database is locked"):
            writer.commit(some_of_everything())
        assert content(sqlite_store) == before
    lock.communicate()
    writer.commit(some_of_everything())
    assert len(journaled(sqlite_store)) == 50


def test_a_short_lock_is_waited_for(file):
    store = Store.open(f"sqlite:///{file}")
    holder = sqlite3.connect(file, isolation_level=None, check_same_thread=False)
    holder.execute("BEGIN IMMEDIATE")
    release = threading.Timer(0.3, holder.execute, ["ROLLBACK"])
    release.start()
    store.writer().commit(some_of_everything())
    release.join()
    holder.close()
    assert len(journaled(store)) == 50
    store.close()
