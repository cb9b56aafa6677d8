"""The journal: every reading as it came, in the order of arrival."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import delete

from swarfline.signals import Reading
from swarfline.store import Batch, Store, tables
from swarfline.store.journal import size
from swarfline.store.pack import pack, unpack

from .content import journaled, next_numbers
from .made import BEGIN_US, READING, SECOND, readings

ALL = (-(2**63), 2**63 - 1)
one_database = settings(
    max_examples=60,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)


def exactly(reading):
    """A reading with its value told so that 1, 1.0, True, -0.0 and NaN are all different."""
    return (*reading[:4], repr(reading.value), int(reading.quality))


def test_any_readings_in_any_commits(store):
    writer = store.writer()

    @one_database
    @given(st.lists(st.lists(READING, max_size=12), min_size=1, max_size=4))
    def check(commits):
        with store.engine.begin() as connection:
            connection.execute(delete(tables.journal))
        for batch in commits:
            writer.commit(Batch(readings=batch))
        told = [exactly(reading) for batch in commits for reading in batch]
        assert [exactly(reading) for _, reading, _ in journaled(store)] == told
        inside = [t for t in told if t[2] < ALL[1]]
        assert [exactly(reading) for reading in store.readings(*ALL)] == inside

    check()


@pytest.mark.parametrize(
    "value",
    [True, 1, 1.0, 0, -0.0, 0.1, math.nan, math.inf, -math.inf, 2**64, -(10**60), None, "", "\ud800\udc00"],
)
@pytest.mark.parametrize("signal", ["state", "power"])
def test_a_value_comes_back_as_it_was(store, signal, value):
    reading = Reading("N1", signal, 5, 6, value, 2)
    store.writer().commit(Batch(readings=[reading]))
    (found,) = store.readings(5, 6)
    assert exactly(found) == exactly(reading)
    assert type(found.value) is type(value) and isinstance(found, Reading)


def test_both_kinds_of_block_keep_one_order(store):
    batch = readings(40)
    store.writer().commit(Batch(readings=batch))
    assert store.readings(*ALL) == batch
    with store.engine.connect() as connection:
        rows = connection.execute(tables.journal.select().order_by(tables.journal.c.id)).all()
    assert [(row.state_like, row.readings, row.first_number) for row in rows] == [(False, 24, 0), (True, 16, 0)]
    for row in rows:
        times = [reading.source_us for _, reading, _ in unpack(row.payload)]
        assert (row.from_us, row.to_us) == (min(times), max(times))


def test_arrival_numbers_go_on_from_commit_to_commit_and_start_to_start(url):
    for start in range(3):
        store = Store.open(url)
        writer = store.writer()
        for part in range(2):
            writer.commit(Batch(readings=readings(7, first=14 * start + 7 * part), checkpoints={"N1": {}}))
        writer.commit(Batch())
        store.close()
    store = Store.open(url)
    assert [(number, reading.value) for number, reading, _ in journaled(store)] == [(n, n) for n in range(42)]
    assert next_numbers(store) == {"N1": 42}
    store.close()


@pytest.mark.parametrize("last", ["state", "power"])
def test_numbers_go_on_after_a_commit_of_one_kind(url, last):
    store = Store.open(url)
    store.writer().commit(Batch(readings=readings(9)))
    store.writer().commit(Batch(readings=[Reading("N1", last, 5, 5, 9)]))
    store.writer().commit(Batch(readings=readings(3, first=10)))
    assert [number for number, _, _ in journaled(store)] == [*range(13)]
    store.close()


@pytest.mark.parametrize("dropped", [0, 10])
def test_numbers_are_not_given_again_when_readings_are_dropped(store, dropped):
    for first in (0, 10):
        store.writer().commit(Batch(readings=readings(10, first=first), checkpoints={"N1": {}}))
    with store.engine.begin() as connection:
        connection.execute(delete(tables.journal).where(tables.journal.c.first_number >= dropped))
    store.writer().commit(Batch(readings=readings(2)))
    assert [number for number, _, _ in journaled(store)] == [*range(dropped), 20, 21]


def test_late_readings_are_marked(store):
    store.writer().commit(Batch(readings=readings(10), late=[0, 6, 9]))
    store.writer().commit(Batch(readings=readings(10, first=10)))
    assert [number for number, _, late in journaled(store) if late] == [0, 6, 9]


SECONDS = [
    ([0, 5], (0, 5)),
    ([0, 1], (0, 1)),
    ([4.5, 7], (5, 7)),
    ([18, 99], (18, 30)),
    ([30, 40], (0, 0)),
    ([5, 5], (0, 0)),
]


@pytest.mark.parametrize(("asked", "expected"), SECONDS)
def test_a_span_is_replayed_half_open(store, asked, expected):
    writer = store.writer()
    for first in range(0, 30, 6):
        writer.commit(Batch(readings=readings(6, first=first)))
    found = store.readings(*(round(BEGIN_US + at * SECOND) for at in asked))
    assert [reading.value for reading in found] == [*range(*expected)]


def test_arrival_counts_not_time(store):
    writer = store.writer()
    late_first = [*reversed(readings(6, first=6)), *readings(6)]
    for batch in (late_first[:4], late_first[4:]):
        writer.commit(Batch(readings=batch))
    assert store.readings(*ALL) == late_first


def test_many_commits_are_replayed_in_order(store):
    writer = store.writer()
    for first in range(0, 450, 2):
        writer.commit(Batch(readings=readings(2, first=first)))
    found = store.readings(*ALL)
    assert len(found) == 450
    assert all(one.value < two.value for one, two in pairwise(found))


def test_how_many_are_kept(store):
    with store.engine.connect() as connection:
        assert size(connection) == 0
    store.writer().commit(Batch(readings=readings(12)))
    with store.engine.connect() as connection:
        assert size(connection) == 12


def test_more_names_than_sixteen_bits_count():
    many = [Reading(f"N{n}", f"signal {n}", n, n, n) for n in (*range(66_000), 65_535, 65_536, 0)]
    assert unpack(pack(many, range(len(many)), [65_999])) == [
        (place, reading, place == 65_999) for place, reading in enumerate(many)
    ]


@pytest.mark.parametrize("count", [65_536, 65_537])
def test_names_around_sixteen_bits(count):
    many = [Reading("N1", f"signal {n}", n, n, n) for n in range(count)]
    assert [reading for _, reading, _ in unpack(pack(many, range(count), []))] == many


def test_a_block_is_small():
    # 50 bytes is what the numbers of a reading take as a row without its names
    steady = [Reading("N1", ("power", "spindle_load")[n % 2], BEGIN_US + n * SECOND, n, 12.5) for n in range(2000)]
    assert len(pack(steady, range(2000), [])) < 10 * 2000
