"""Parts of a machine that counts none, over spans whose edges meet the ends of its cycles."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from swarfline.facts import COMPLETE, Cycle
from swarfline.live import Live
from swarfline.serve.assemble import Assembly
from swarfline.serve.room import Room
from swarfline.store import Batch, Store

from .works import MINUTE, NOW, START, plant

ENDS = [START + n * 3 * MINUTE for n in range(1, 11)]
EDGE = st.sampled_from(ENDS) | st.integers(START - MINUTE, ENDS[-1] + MINUTE)


@pytest.fixture(scope="module")
def room(tmp_path_factory: pytest.TempPathFactory):
    folder = tmp_path_factory.mktemp("cycles")
    store = Store.open(f"sqlite:///{folder / 'works.db'}")
    # one after another without a pause: each ends where the next begins
    cycles = [Cycle("S1", end - 3 * MINUTE, end, COMPLETE, part="PH-12", parts=1) for end in ENDS]
    store.writer().commit(Batch(facts=cycles))
    yield Room.of(plant(folder), store, Live(), lambda: NOW)
    store.close()


def made(room: Room, start_us: int, end_us: int) -> int:
    return Assembly(room, (start_us, end_us), NOW).production("S1", (start_us, end_us)).all_parts.total


def test_a_part_counts_in_the_span_that_begins_as_its_cycle_ends(room):
    assert made(room, ENDS[2], ENDS[3]) == 1
    assert made(room, ENDS[2], ENDS[2] + 1) == 1
    assert made(room, ENDS[2] - 1, ENDS[2]) == 0


@given(EDGE, EDGE, EDGE)
def test_the_parts_of_two_spans_are_those_of_the_whole(room, one, two, three):
    start, cut, end = sorted((one, two, three))
    inside = sum(start <= e < end for e in ENDS)
    assert made(room, start, cut) + made(room, cut, end) == made(room, start, end) == inside


def test_the_parts_counted_are_those_in_the_span(room):
    work = Assembly(room, (ENDS[2], ENDS[4]), NOW)
    assert [c.time_us for c in work.counts("S1")] == [ENDS[2], ENDS[3]]
