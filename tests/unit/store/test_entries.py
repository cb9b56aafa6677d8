"""Entries: added and undone, never altered; stored beside a writer of facts without loss on either side."""

from __future__ import annotations

import threading
from dataclasses import replace

import pytest
from sqlalchemy import func, select

from swarfline.entries import LONGEST_US, Entry, Judgement, StopReason, Undone, standing
from swarfline.facts import TOTAL, Count
from swarfline.store import Batch, Store, StoreError, tables

from .content import journaled, kept
from .made import readings

DOOR = Entry("N1", 100, 200, StopReason("Tür klemmt"), "Ana", 1000, "since spring")
SCRAP = Entry("N1", 150, 300, Judgement("PH-12", "scrap", 2), "Luis", 1001)


def enter(store, *entries):
    with store.entering() as door:
        return [door.add(entry) for entry in entries]


def test_what_was_entered_is_told(store):
    first, second = enter(store, DOOR, SCRAP)
    assert (first, second) == (replace(DOOR, number=1), replace(SCRAP, number=2))
    assert store.queries.entries(StopReason, "N1", 0, 1000) == [first]
    assert store.queries.entries(Judgement, "N1", 0, 1000) == [second]
    assert store.queries.entry(2) == second
    assert store.queries.entry(3) is None


@pytest.mark.parametrize(
    ("span", "told"), [((0, 100), 0), ((0, 101), 1), ((199, 300), 1), ((200, 300), 0), ((120, 130), 1)]
)
def test_an_entry_is_told_of_spans_that_it_overlaps(store, span, told):
    enter(store, DOOR)
    assert len(store.queries.entries(StopReason, "N1", *span)) == told
    assert store.queries.entries(StopReason, "N2", *span) == []


def test_the_longest_entry_is_found_by_its_last_moment(store):
    enter(store, replace(DOOR, start_us=0, end_us=LONGEST_US))
    assert len(store.queries.entries(StopReason, "N1", LONGEST_US - 1, LONGEST_US)) == 1


def test_an_undone_entry_stays_with_who_undid_it(store):
    (entry,) = enter(store, DOOR)
    undone = Undone("Luis", 2000, "was N2")
    with store.entering() as door:
        told = door.undo(entry, undone)
    assert told == replace(entry, undone=undone)
    assert store.queries.entries(StopReason, "N1", 0, 1000) == [told]
    assert standing([told, replace(entry, number=7)]) == [replace(entry, number=7)]
    # the undoing itself is no entry
    assert store.queries.entry(2) is None


def test_an_entry_is_undone_once(store):
    (entry,) = enter(store, DOOR)
    with store.entering() as door:
        door.undo(entry, Undone("Luis", 2000))
    with pytest.raises(StoreError, match="nothing was entered"), store.entering() as door:
        door.undo(entry, Undone("Ana", 2001))
    assert store.queries.entry(1).undone.who == "Luis"


def test_an_error_enters_nothing(store):
    with pytest.raises(RuntimeError), store.entering() as door:
        door.add(DOOR)
        raise RuntimeError
    assert store.queries.entries(StopReason, "N1", 0, 1000) == []
    assert enter(store, DOOR)[0].number >= 1


def test_a_database_that_is_busy_for_too_long_is_told(sqlite_store):
    other = Store(str(sqlite_store.engine.url))
    with (
        sqlite_store.entering(),
        pytest.raises(StoreError, match=r"cannot be written now \(database is locked\); nothing was entered"),
        other.entering(),
    ):
        pytest.fail("two at once")
    other.close()


def test_many_may_enter_at_once_and_read_meanwhile(store):
    """More than there are connections: those who wait must leave one for the one who reads."""
    numbers, failed = [], []

    def enter_one():
        try:
            with store.entering() as door:
                assert store.queries.entry(99) is None
                numbers.append(door.add(DOOR).number)
        except Exception as problem:
            failed.append(problem)

    threads = [threading.Thread(target=enter_one) for _ in range(30)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(100)
    assert failed == []
    assert sorted(numbers) == list(range(1, 31))


def test_what_is_read_while_entering_still_holds_at_the_end(store, url):
    other = Store.open(url)
    seen, begun = [], threading.Event()

    def enter_too():
        begun.set()
        with other.entering() as door:
            seen.append(len(other.queries.entries(StopReason, "N1", 0, 1000)))
            door.add(DOOR)

    with store.entering() as door:
        beside = threading.Thread(target=enter_too)
        beside.start()
        begun.wait(10)
        door.add(DOOR)
        assert store.queries.entries(StopReason, "N1", 0, 1000) == []
    beside.join(30)
    assert seen == [1]
    assert len(store.queries.entries(StopReason, "N1", 0, 1000)) == 2
    other.close()


def test_facts_and_entries_are_written_side_by_side_without_loss(store, url):
    serving = [Store.open(url), Store.open(url)]
    rounds, start, failed = 40, threading.Barrier(3), []

    def collect():
        writer = store.writer()
        start.wait()
        for turn in range(rounds):
            writer.commit(Batch(readings=readings(50, 50 * turn), facts=[Count("N1", turn, TOTAL, 1)]))

    def serve(one, who):
        start.wait()
        for turn in range(rounds):
            enter(one, replace(DOOR, who=who, start_us=turn, end_us=turn + 1))

    def watched(work, *given):
        try:
            work(*given)
        except Exception as problem:
            failed.append(problem)

    work = [(collect,), (serve, serving[0], "Ana"), (serve, serving[1], "Luis")]
    threads = [threading.Thread(target=watched, args=given) for given in work]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(120)
    assert failed == []
    assert len(journaled(store)) == 50 * rounds
    assert sorted(c.time_us for c in kept(store, Count)) == list(range(rounds))
    told = store.queries.entries(StopReason, "N1", 0, rounds)
    assert sorted((e.who, e.start_us) for e in told) == [(w, n) for w in ("Ana", "Luis") for n in range(rounds)]
    with store.engine.connect() as connection:
        assert connection.execute(select(func.count(func.distinct(tables.entries.c.id)))).scalar() == 2 * rounds
    for one in serving:
        one.close()
