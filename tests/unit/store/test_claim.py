"""One collector to a database; the claim ends with its holder, however that ended."""

from __future__ import annotations

import subprocess
import sys

import pytest

from swarfline.store import Store, StoreError

from .conftest import empty_database

HOLDER = """
import sys
from swarfline.store import Store
with Store.open(sys.argv[1]).claimed():
    print("held", flush=True)
    sys.stdin.read()
"""


@pytest.fixture
def holder(url):
    process = subprocess.Popen(
        [sys.executable, "-c", HOLDER, url], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    assert process.stdout.readline() == "held\n"
    yield process
    process.kill()
    process.communicate()


def test_a_second_one_is_refused_and_told_what_to_do(store, holder):
    with (
        pytest.raises(StoreError, match=r"another process collects into the database .*; stop it first"),
        store.claimed(),
    ):
        pytest.fail("claimed twice")
    holder.communicate()
    with store.claimed():
        pass


def test_a_killed_holder_holds_nothing(store, holder):
    holder.kill()
    holder.wait()
    with store.claimed():
        pass


def test_it_is_given_back(store, url):
    for _ in range(2):
        with store.claimed():
            other = Store.open(url)
            with pytest.raises(StoreError, match="another process collects"), other.claimed():
                pytest.fail("claimed twice")
            other.close()


def test_another_database_is_another_claim(store, holder, tmp_path):
    # on PostgreSQL another schema of the same database
    with empty_database(tmp_path / "other.db") as beside:
        other = Store.open(beside)
        with other.claimed():
            pass
        other.close()


def test_reading_and_writing_need_no_claim(store, holder):
    assert store.queries.reachable()
    assert store.readings(0, 10) == []
