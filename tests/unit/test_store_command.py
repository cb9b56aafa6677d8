"""swarfline store backup: a whole copy while others write, that can be gone on from."""

from __future__ import annotations

import sqlite3
import threading
from pathlib import Path

import pytest
from click.testing import CliRunner

from swarfline.cli import main
from swarfline.facts import WAITING, Condition
from swarfline.store import Batch, Store

URL = "sqlite:///swarfline.db"
MINUTE = 60_000_000


@pytest.fixture
def plant(write_plant, small_plant):
    return write_plant(small_plant)


def call(*words: object):
    return CliRunner().invoke(main, ["store", "backup", *(str(word) for word in words)])


def minutes(first: int, last: int) -> Batch:
    facts = [Condition("N1", n * MINUTE, (n + 1) * MINUTE, WAITING) for n in range(first, last)]
    return Batch(facts=facts)


def starts(store: Store) -> list[int]:
    return [fact.start_us // MINUTE for fact in store.queries.facts(Condition, "N1", 0, 10**15)]


def test_the_copy_is_of_one_moment_and_the_service_goes_on_from_it(plant, tmp_path):
    store, target, done = Store.open(URL, plant), tmp_path / "copy.db", threading.Event()
    store.writer().commit(minutes(0, 10))
    Path(store.engine.url.database).chmod(0o600)

    def write_on() -> None:
        writer, number = store.writer(), 10
        while not done.is_set():
            writer.commit(minutes(number, number + 10))
            number += 10

    writing = threading.Thread(target=write_on)
    writing.start()
    told = call(plant, target)
    done.set()
    writing.join()
    assert told.exit_code == 0, told.output
    assert told.output.startswith(f"{target}: ")
    assert target.stat().st_mode & 0o777 == 0o600
    with sqlite3.connect(target) as bare:
        assert bare.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    copy = Store.open(f"sqlite:///{target}")
    kept = starts(copy)
    # whole commits, from the first one on, and no more than there are
    assert kept == list(range(len(kept)))
    assert len(kept) % 10 == 0
    assert 10 <= len(kept) <= len(starts(store))
    copy.writer().commit(minutes(len(kept), len(kept) + 1))
    assert len(starts(copy)) == len(kept) + 1
    copy.close()
    store.close()


def test_nothing_is_overwritten(plant, tmp_path):
    Store.open(URL, plant).close()
    target = tmp_path / "copy.db"
    target.write_text("mine", "utf-8")
    told = call(plant, target)
    assert told.exit_code == 1
    assert "is there already; name a new file" in told.output
    assert target.read_text("utf-8") == "mine"


def test_a_target_that_cannot_be_written_is_named_and_leaves_nothing(plant, tmp_path):
    Store.open(URL, plant).close()
    told = call(plant, tmp_path / "no such folder" / "copy.db")
    assert told.exit_code == 1
    assert "no copy could be written to" in told.output
    assert not (tmp_path / "no such folder").exists()


def test_a_plant_without_a_database_is_told(plant, tmp_path):
    told = call(plant, tmp_path / "copy.db")
    assert told.exit_code == 1
    assert not (tmp_path / "copy.db").exists()
