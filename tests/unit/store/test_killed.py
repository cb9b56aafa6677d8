"""After ``kill -9`` at any moment the database is whole and goes on where its last commit ended."""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path

from sqlalchemy import func, select

from swarfline.facts import Condition
from swarfline.store import Batch, Store, tables

from .content import journaled, kept, next_numbers

COMMITTER = Path(__file__).with_name("committer.py")
# what a commit takes is a few milliseconds: the moments fall anywhere into one
MOMENTS_S = (0.05, 0.0731, 0.1017, 0.1303)


def killed(url, first, after_s):
    """The last number that the process said it had committed."""
    process = subprocess.Popen(
        [sys.executable, str(COMMITTER), url, str(first)], stdout=subprocess.PIPE, text=True
    )
    assert process.stdout is not None
    assert process.stdout.readline() == "ready\n"
    committed = process.stdout.readline()
    time.sleep(after_s)
    process.kill()
    *told, _ = (committed + process.communicate()[0]).split("\n")
    return int(told[-1])


def test_nothing_is_lost_twice_or_half_written(url):
    number = 0
    for moment_s in MOMENTS_S:
        said = killed(url, number, moment_s)
        store = Store.open(url)
        number = check(store)
        assert number >= said
        store.close()
    store = Store.open(url)
    store.writer().commit(Batch(readings=[], checkpoints={"N1": {}}))
    assert next_numbers(store) == {"N1": number}
    store.close()


def check(store):
    """Journal, facts, checkpoint and picture are of one moment; the number of readings."""
    numbered = journaled(store)
    count = len(numbered)
    assert [(number, reading.value) for number, reading, _ in numbered] == [(n, n) for n in range(count)]
    assert next_numbers(store) == {"N1": count}
    assert store.checkpoints() == {"N1": {"told": count}}
    assert store.queries.now("N1") == {"told": count}
    starts = sorted(fact.start_us for fact in kept(store, Condition))
    assert count - 10 <= starts[-1] < count
    with store.engine.connect() as connection:
        assert connection.execute(select(func.sum(tables.journal.c.readings))).scalar() == count
        if store.engine.dialect.name == "sqlite":
            assert connection.exec_driver_sql("PRAGMA integrity_check").scalar() == "ok"
    return count
