"""Facts as rows: what comes back is what was stored, for every kind of fact."""

from __future__ import annotations

from dataclasses import fields

import pytest
from hypothesis import HealthCheck, given, settings
from sqlalchemy import delete

from swarfline.facts import FACT_KINDS, Cycle, StepPiece, ToolUse
from swarfline.store import Batch, tables

from .content import kept
from .made import facts_of

one_database = settings(
    max_examples=40,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)


def test_every_kind_has_a_table():
    assert set(tables.FACT_TABLES) == set(FACT_KINDS)
    assert len({table.name for table in tables.FACT_TABLES.values()}) == len(FACT_KINDS)


@pytest.mark.parametrize("kind", FACT_KINDS)
def test_columns_are_the_fields_in_their_order(kind):
    assert [f.name for f in fields(kind)] == tables.FACT_TABLES[kind].columns.keys()


@pytest.mark.parametrize("kind", FACT_KINDS)
def test_the_primary_key_is_what_identifies_a_fact(kind):
    names = [column.name for column in tables.FACT_TABLES[kind].primary_key]
    some = kind(**{f.name: f"of {f.name}" for f in fields(kind)})
    assert some.key == tuple(f"of {name}" for name in names)


@pytest.mark.parametrize("kind", FACT_KINDS)
def test_round_trip(store, kind):
    writer = store.writer()

    @one_database
    @given(facts_of(kind))
    def check(facts):
        with store.engine.begin() as connection:
            connection.execute(delete(tables.FACT_TABLES[kind]))
        writer.commit(Batch(facts=facts))
        assert {fact.key: fact for fact in kept(store, kind)} == {fact.key: fact for fact in facts}

    check()


def test_the_pieces_of_a_cycle_have_their_types(store):
    cycle = Cycle("N1", 5, 9, "complete", tools=(ToolUse("7", 1, 4, 3),), strip=(StepPiece(0, "cutting", "7"),))
    store.writer().commit(Batch(facts=[cycle]))
    (found,) = kept(store, Cycle)
    assert (found.tools[0].in_spindle_us, found.strip[0].step) == (4, "cutting")
    assert isinstance(found.step_us, tuple)
