"""Readings through the fold into a real database, and on from there after a restart."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from collect.line import SECOND, START, cycle, history, plant_of
from swarfline.collect import Pipeline
from swarfline.facts import FACT_KINDS, Cycle, Gap, ToolLife
from swarfline.signals import LINK, LINK_BACK, LINK_LOST, Reading
from swarfline.store import Store

MINUTES = 12
NEVER = START + 10**12


def open_store(folder: Path) -> Store:
    return Store.open("sqlite:///test.db", folder / "plant.toml")


def everything(store: Store, machine: str) -> dict[str, list[object]]:
    return {kind.kind: list(store.queries.facts(kind, machine, 0, NEVER)) for kind in FACT_KINDS}


def feed(folder: Path, readings: list[Reading], cuts: list[int], restart: bool) -> tuple[dict, dict, list]:
    """Facts, checkpoint and journal after the readings came in pieces, each in a life of its own if so wished."""
    plant = plant_of(folder, "N1")
    store = open_store(folder)
    pipeline = Pipeline(plant, store)
    edges = [0, *sorted(cuts), len(readings)]
    for begin, end in pairwise(edges):
        pipeline.commit(pipeline.take(readings[begin:end], readings[end - 1].received_us if end else 0))
        if restart:
            store.close()
            store = open_store(folder)
            pipeline = Pipeline(plant, store)
    found = everything(store, "N1"), store.checkpoints(), store.readings(0, NEVER)
    store.close()
    return found


@pytest.fixture(scope="module")
def readings() -> list[Reading]:
    return history("N1", MINUTES)


@pytest.fixture(scope="module")
def undisturbed(readings, tmp_path_factory) -> tuple[dict, dict, list]:
    return feed(tmp_path_factory.mktemp("whole"), readings, [], restart=False)


def test_the_whole_history_became_facts(undisturbed, readings):
    facts, _, journal = undisturbed
    assert journal == readings
    assert len([c for c in facts["cycle"] if c.outcome == "complete"]) >= 15
    assert all(facts[kind] for kind in ("condition", "count", "tool_life", "energy"))
    assert all(any(fact.open for fact in facts[kind]) for kind in ("condition", "tool_life", "energy"))


@settings(max_examples=8, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_pieces_and_restarts_do_not_show(data, readings, undisturbed):
    cuts = data.draw(st.lists(st.integers(0, len(readings)), min_size=1, max_size=6))
    restart = data.draw(st.booleans())
    with TemporaryDirectory() as folder:
        assert feed(Path(folder), readings, cuts, restart) == undisturbed


def test_a_batch_that_failed_is_committed_as_it_is(tmp_path, readings, undisturbed):
    store = open_store(tmp_path)
    pipeline = Pipeline(plant_of(tmp_path, "N1"), store)
    batch = pipeline.take(readings, 0)
    with store.engine.begin() as connection:
        connection.exec_driver_sql("ALTER TABLE cycles RENAME TO away")
    with pytest.raises(Exception, match="cycles"):
        pipeline.commit(batch)
    assert store.readings(0, NEVER) == []
    with store.engine.begin() as connection:
        connection.exec_driver_sql("ALTER TABLE away RENAME TO cycles")
    pipeline.commit(batch)
    assert everything(store, "N1") == undisturbed[0]
    store.close()


def test_after_a_restart_every_machine_that_was_heard_is_told_lost(tmp_path):
    store = open_store(tmp_path)
    plant = plant_of(tmp_path, "N1", "N2")
    first = Pipeline(plant, store)
    assert first.losses(START) == []
    told = cycle("N1", 0, 1.0)
    first.commit(first.take(told, told[-1].received_us))
    again = Pipeline(plant, store)
    lost_us, back_us = told[-1].source_us, told[-1].source_us + 300 * SECOND
    assert again.losses(back_us) == [Reading("N1", LINK, lost_us, back_us, LINK_LOST)]
    back = [Reading("N1", LINK, back_us, back_us, LINK_BACK), *cycle("N1", 10, 2.0)]
    again.commit(again.take([*again.losses(back_us), *back], back_us))
    assert [(g.start_us, g.end_us) for g in store.queries.facts(Gap, "N1", 0, NEVER)] == [(lost_us, back_us)]
    store.close()


def test_machines_that_left_the_plant_file_do_not_matter(tmp_path):
    store = open_store(tmp_path)
    before = Pipeline(plant_of(tmp_path, "N1", "N2"), store)
    before.commit(before.take(cycle("N2", 0, 1.0), START))
    after = Pipeline(plant_of(tmp_path, "N1"), store)
    assert after.losses(START) == []
    assert not after.take(cycle("N2", 1, 2.0), START).facts
    store.close()


def test_a_past_is_told_like_a_present_but_for_what_is_open(tmp_path, readings, undisturbed):
    store = open_store(tmp_path)
    pipeline = Pipeline(plant_of(tmp_path, "N1"), store)
    half = len(readings) // 2
    pipeline.commit(pipeline.take_past(readings[:half], last=False))
    assert store.checkpoints() == {}
    assert not [c for c in store.queries.facts(Cycle, "N1", 0, NEVER) if c.open]
    pipeline.commit(pipeline.take_past(readings[half:], last=True))
    assert everything(store, "N1") == undisturbed[0]
    assert store.checkpoints() == undisturbed[1]
    assert store.queries.now("N1")["received_us"] == readings[-1].source_us
    assert [life for life in store.queries.facts(ToolLife, "N1", 0, NEVER) if life.open]
    store.close()
