"""An older database is upgraded after a backup, all of it or nothing; a newer one is left alone."""

from __future__ import annotations

import shutil
import sqlite3
import subprocess
import sys

import pytest
from sqlalchemy import event, inspect

from swarfline.entries import Entry, StopReason
from swarfline.facts import Gap
from swarfline.store import Batch, Store, StoreError, Writer, migrate
from swarfline.store.engine import make_engine

from .content import content

HEAD = migrate.newest()
"""What this version writes."""
LATER = """
import sqlalchemy as sa
from alembic import op

revision, down_revision, branch_labels, depends_on = "9001", "HEAD", None, None


def upgrade() -> None:
    op.create_table("shelves", sa.Column("shelf", sa.Integer()))
    op.add_column("gaps", sa.Column("remark", sa.Text()))
""".replace("HEAD", HEAD)
BROKEN = LATER + '    op.execute("DELETE FROM nowhere")\n'
GAP = Gap("N1", 5, 9, "connection")


@pytest.fixture
def older(file):
    """A database of this version, which is an older one for the scripts below; with something in it."""
    store = Store.open(f"sqlite:///{file}")
    store.writer().commit(Batch(facts=[GAP]))
    yield store
    store.close()


@pytest.fixture
def later(tmp_path):
    """Writes migrations of a later version; their folder."""
    scripts = tmp_path / "later"
    shutil.copytree(migrate.SCRIPTS, scripts)

    def write(text=LATER):
        (scripts / "versions" / "v9001_later.py").write_text(text)
        return scripts

    return write


def test_a_new_database_needs_no_backup(file):
    store = Store.open(f"sqlite:///{file}")
    assert (store.backup, migrate.present(store.engine)) == (None, migrate.newest())
    store.close()


def test_an_up_to_date_database_needs_no_backup(older, file):
    again = Store.open(f"sqlite:///{file}")
    assert again.backup is None
    again.close()


def test_an_older_database_is_upgraded_after_a_backup(older, later, file):
    before = content(older)
    backup = migrate.upgrade(older.engine, later())
    assert migrate.present(older.engine) == "9001"
    assert content(older) == before
    assert backup.name == f"plant.db.before-9001-from-{HEAD}"
    kept = Store.open(f"sqlite:///{backup}")
    assert content(kept) == before
    assert "remark" not in {column["name"] for column in inspect(kept.engine).get_columns("gaps")}
    kept.close()


def test_an_upgrade_that_fails_changes_nothing(older, later):
    before = content(older)
    with pytest.raises(StoreError, match="cannot be opened: no such table: nowhere"):
        migrate.prepare(older.engine, later(BROKEN))
    assert (migrate.present(older.engine), content(older)) == (HEAD, before)
    assert "shelves" not in inspect(older.engine).get_table_names()
    assert migrate.upgrade(older.engine, later()) is not None
    assert migrate.present(older.engine) == "9001"


def test_the_backup_is_of_the_last_attempt_and_whole(older, later, file):
    target = file.with_name(f"plant.db.before-9001-from-{HEAD}")
    target.write_bytes(b"of an upgrade that was given up")
    target.with_name(f"{target.name}.unfinished").write_bytes(b"half of it")
    assert migrate.upgrade(older.engine, later()) == target
    with sqlite3.connect(target) as copy:
        assert copy.execute("SELECT reason FROM gaps").fetchall() == [("connection",)]
    copy.close()
    assert list(target.parent.glob("*.unfinished")) == []


def test_a_newer_database_is_refused_and_left_alone(older, file):
    with older.engine.begin() as connection:
        connection.exec_driver_sql("UPDATE alembic_version SET version_num = '9001'")
    older.close()
    before = file.read_bytes()
    with pytest.raises(
        StoreError, match=r"schema revision 9001.*install the newer program again, or restore an older"
    ):
        Store.open(f"sqlite:///{file}")
    assert file.read_bytes() == before
    assert [path.name for path in file.parent.iterdir()] == [file.name]


def test_a_database_from_before_entries_keeps_everything_and_takes_them(file, tmp_path):
    scripts = tmp_path / "first"
    shutil.copytree(migrate.SCRIPTS, scripts)
    for script in (scripts / "versions").glob("v*.py"):
        if script.name != "v0001_first_tables.py":
            script.unlink()
    old = make_engine(f"sqlite:///{file}")
    migrate.upgrade(old, scripts)
    assert (migrate.present(old), "entries" in inspect(old).get_table_names()) == ("0001", False)
    Writer(old).commit(Batch(facts=[GAP]))
    with old.begin() as connection:
        connection.exec_driver_sql(
            "INSERT INTO alerts (rule, machine, subject, severity, text, raised_us, cleared_us, detail) "
            "VALUES ('r', 'N1', 's', 'warning', 'near', 5, 7, '{}'), "
            "('r', 'N1', 's', 'urgent', 'past', 9, NULL, '{}')"
        )
    old.dispose()
    store = Store.open(f"sqlite:///{file}")
    assert store.backup.name == f"plant.db.before-{HEAD}-from-0001"
    assert store.queries.facts(Gap, "N1", 0, 99) == [GAP]
    with store.entering() as door:
        door.add(Entry("N1", 5, 9, StopReason("Door"), "Ana", 10))
    assert len(store.queries.entries(StopReason, "N1", 0, 99)) == 1
    stands, cleared = store.queries.alerts()
    assert (stands.number, stands.times, stands.acknowledged, cleared.cleared_us) == (2, 1, None, 7)
    told = [(e.kind, e.at_us) for number in (1, 2) for e in store.queries.alert_events(number)]
    assert told == [("raised", 5), ("cleared", 7), ("raised", 9)]
    store.close()


class Stop(Exception):
    """The power fails here."""


@pytest.mark.parametrize("number", (2, 8, 14, 20))
def test_a_database_whose_making_broke_off_is_made_at_the_next_start(url, number, monkeypatch):
    def prepare(engine):
        statements = 0

        def stop(*_):
            nonlocal statements
            statements += 1
            if statements == number:
                raise Stop

        event.listen(engine, "before_cursor_execute", stop)
        return migrate.prepare(engine)

    with monkeypatch.context() as patched, pytest.raises(Stop):
        patched.setattr("swarfline.store.prepare", prepare)
        Store.open(url)
    store = Store.open(url)
    store.writer().commit(Batch(facts=[GAP]))
    assert store.queries.facts(Gap, "N1", 0, 99) == [GAP]
    store.close()


def test_several_processes_may_make_one_database_at_once(url):
    start = "import sys; from swarfline.store import Store; Store.open(sys.argv[1]).close()"
    running = [subprocess.Popen([sys.executable, "-c", start, url], stderr=subprocess.PIPE) for _ in range(3)]
    told = [process.communicate(timeout=60)[1] for process in running]
    assert [process.returncode for process in running] == [0, 0, 0], told
    Store.open(url).close()
