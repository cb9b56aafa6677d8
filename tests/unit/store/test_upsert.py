"""A fact replaces the one with its key."""

from __future__ import annotations

import logging
from dataclasses import replace

import pytest

from swarfline.facts import FACT_KINDS, PRODUCING, TOTAL, Condition, Count, Cycle, StepPiece, ToolLife
from swarfline.store import Batch

from .content import content, kept
from .made import some_of_everything

OPEN = Condition("N1", 5, 9, PRODUCING, open=True)


def commit(store, *facts):
    store.writer().commit(Batch(facts=facts))


def test_an_open_fact_is_replaced_by_its_closed_version(store):
    closed = replace(OPEN, end_us=20, open=False)
    commit(store, OPEN)
    commit(store, closed)
    assert kept(store, Condition) == [closed]


def test_of_two_facts_with_one_key_in_a_batch_the_last_counts(store):
    later = replace(OPEN, end_us=12)
    commit(store, replace(OPEN, end_us=15), OPEN, later)
    assert kept(store, Condition) == [later]


@pytest.mark.parametrize("kind", FACT_KINDS)
def test_every_field_but_the_key_is_replaced(store, kind):
    (first,) = [f for f in some_of_everything(0).facts if type(f) is kind][:1]
    (second,) = [f for f in some_of_everything(1).facts if type(f) is kind][:1]
    key = dict(zip(keys(kind), first.key, strict=True))
    commit(store, first)
    commit(store, replace(second, **key))
    assert kept(store, kind) == [replace(second, **key)]


def keys(kind):
    sample = kind(*kind.__slots__)
    return list(sample.key)


def test_facts_that_differ_in_one_part_of_the_key_are_kept_apart(store):
    facts = [
        Count("N1", 5, TOTAL, 1),
        Count("N1", 5, "scrap", 1),
        Count("N1", 6, TOTAL, 1),
        Count("N2", 5, TOTAL, 1),
    ]
    commit(store, *facts)
    assert {fact.key for fact in kept(store, Count)} == {fact.key for fact in facts}


def test_the_same_batch_again_changes_nothing_but_the_journal(store):
    writer = store.writer()
    writer.commit(some_of_everything())
    before = content(store)
    batch = some_of_everything()
    batch.readings = batch.late = ()
    batch.checkpoints = {}
    writer.commit(batch)
    assert content(store) == before


LIFE, COUNT = ToolLife("N1", "1", 5, 9), Count("N1", 5, TOTAL, 1)
UNFIT = [
    (OPEN, "alarm_text", "E\ud8001", "E\ufffd1"),
    (COUNT, "quantity", 2**70, 2**63 - 1),
    (COUNT, "quantity", -(2**70), -(2**63)),
    (LIFE, "limit", 2**64 - 1, float(2**64)),
    (LIFE, "limit", 10**400, float("inf")),
    (Cycle("N1", 5, 9, "complete"), "strip", (StepPiece(0, "x", "\ud800"),), (StepPiece(0, "x", "\ufffd"),)),
]


@pytest.mark.parametrize(("fact", "field", "unfit", "nearest"), UNFIT)
def test_what_no_column_holds_keeps_nothing_else_out(store, fact, field, unfit, nearest):
    others = [replace(fact, machine="A"), replace(fact, machine="Z")]
    commit(store, others[0], replace(fact, **{field: unfit}), others[1])
    expected = {"A": others[0], "N1": replace(fact, **{field: nearest}), "Z": others[1]}
    assert {f.machine: f for f in kept(store, type(fact))} == expected


def test_what_is_not_stored_as_it_was_is_told(store, caplog):
    with caplog.at_level(logging.WARNING, "swarfline.store"):
        commit(store, replace(COUNT, quantity=2**70))
    assert "table counts: " in caplog.text and "nearest value that can be stored" in caplog.text
