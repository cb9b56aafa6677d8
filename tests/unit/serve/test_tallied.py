"""With tallies and without: the same figures, whatever the span, the shifts, and what was written since."""

from __future__ import annotations

import random
import tempfile
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from swarfline.entries import Entry, Judgement
from swarfline.facts import (
    COMPLETE,
    CONDITIONS,
    GOOD,
    PRODUCING,
    SCRAP,
    TOTAL,
    WAITING,
    Condition,
    Count,
    Cycle,
    Energy,
)
from swarfline.live import Live
from swarfline.plant import load
from swarfline.serve.assemble import Assembly
from swarfline.serve.room import Room
from swarfline.serve.tallied import Tallied
from swarfline.store import Batch, Store
from swarfline.tallying import Tallying

from .works import HOUR, MIDNIGHT, MINUTE, PLANT, SECOND

DAY = 24 * HOUR
DAYS = 6
BEGIN = MIDNIGHT + 7 * HOUR + 123
END = MIDNIGHT + DAYS * DAY
QUARTER = 15 * MINUTE
OTHER_SHIFTS = PLANT.replace('start = "06:00"\nend = "14:00"', 'start = "22:00"\nend = "09:51"')
MACHINES = ("N1", "S1")


def story(seed):
    """Facts of N1: conditions with holes between, counts, energy, cycles; the last condition is open."""
    chance, at, found = random.Random(seed), BEGIN, []
    while at < END:
        longest = chance.choice([1, 7 * SECOND, 20 * MINUTE, 3 * HOUR, 9 * HOUR, 31 * HOUR])
        end = min(END, at + chance.randint(1, longest))
        condition = chance.choice([*CONDITIONS, PRODUCING, WAITING, ""])
        if condition:
            found.append(Condition("N1", at, end, condition, open=end == END))
        at = end
    for _ in range(chance.randint(0, 30)):
        at, kind = chance.randrange(BEGIN, END), chance.choice([TOTAL, TOTAL, GOOD, SCRAP])
        part = chance.choice(["PH-12", "unplanned"])
        found.append(Count("N1", at, kind, chance.randint(1, 9), part, across_gap=chance.random() < 0.2))
    for quarter in sorted(chance.sample(range(BEGIN // QUARTER + 1, END // QUARTER - 1), chance.randint(0, 40))):
        start = quarter * QUARTER + chance.randrange(QUARTER)
        end = chance.randint(start + 1, (quarter + 1) * QUARTER)
        found.append(Energy("N1", start, end, PRODUCING, chance.random() * 1e6, "power"))
    cycles = [Cycle("N1", at, at + HOUR, COMPLETE, "O1", "unplanned", parts=1) for at in (BEGIN, BEGIN + DAY)]
    return [*found, *cycles]


FIRST_FAILURE = (Phase.explicit, Phase.reuse, Phase.generate)
"""Shrinking a seed makes nothing plainer, and takes minutes."""
STORIES = st.integers(0, 10**9).map(story)
SPANS = st.tuples(st.integers(BEGIN - DAY, END - 1), st.integers(BEGIN, END)).filter(lambda s: s[0] < s[1])


@contextmanager
def stored(facts, text=PLANT):
    """(store, plant) over these facts, in a folder of its own."""
    with tempfile.TemporaryDirectory() as folder:
        store = Store.open(f"sqlite:///{folder}/plant.db")
        store.writer().commit(Batch(facts=facts))
        yield store, planted(Path(folder), text)
        store.close()


def planted(folder, text):
    (folder / "plant.toml").write_text(text)
    return load(folder / "plant.toml")


def works_of(store, plant, span):
    """(with tallies, without)"""
    room = Room.of(plant, store, Live(), lambda: END)
    return Tallied(room, span, END), Assembly(room, span, END)


def assert_same(store, plant, span):
    """Each day and the whole, with tallies and without; how many days were read as tallies."""
    with_tallies, without = works_of(store, plant, span)
    days = [day for _, day in plant.calendar().days(*span)]
    for spans in ([span], *([day] for day in days), days):
        assert with_tallies.oee_sums("N1", spans) == without.oee_sums("N1", spans)
        assert with_tallies.made("N1", spans).by_part == without.made("N1", spans).by_part
    assert with_tallies.coverage(MACHINES) == without.coverage(MACHINES)
    return len(with_tallies.tallies("N1"))


@settings(max_examples=25, deadline=None, phases=FIRST_FAILURE)
@given(STORIES, SPANS)
def test_the_same_over_any_span(facts, span):
    with stored(facts) as (store, plant):
        Tallying(plant, store).fill()
        assert_same(store, plant, span)


@settings(max_examples=10, deadline=None, phases=FIRST_FAILURE)
@given(STORIES, SPANS)
def test_the_same_when_the_shifts_were_edited(facts, span):
    with stored(facts) as (store, plant):
        Tallying(plant, store).fill()
        edited = planted(Path(store.engine.url.database).parent, OTHER_SHIFTS)
        assert assert_same(store, edited, span) == 0
        Tallying(edited, store).fill()
        assert_same(store, edited, span)


@settings(max_examples=10, deadline=None, phases=FIRST_FAILURE)
@given(STORIES, SPANS, st.integers(BEGIN, END))
def test_the_same_when_facts_came_after_the_tallies(facts, span, cut):
    facts = sorted(facts, key=lambda fact: fact.time_us if isinstance(fact, Count) else fact.start_us)
    begun = [
        fact for fact in facts if getattr(fact, "end_us", cut) <= cut and getattr(fact, "time_us", cut) <= cut
    ]
    with stored(begun) as (store, plant):
        Tallying(plant, store).fill()
        store.writer().commit(Batch(facts=[fact for fact in facts if fact not in begun]))
        assert_same(store, plant, span)
        Tallying(plant, store).fill()
        assert_same(store, plant, span)


def steady(days=DAYS):
    """Twenty minutes of production and ten of waiting, again and again; the last condition is open."""
    found = []
    for at in range(BEGIN, MIDNIGHT + days * DAY, 30 * MINUTE):
        found.append(Condition("N1", at, at + 20 * MINUTE, PRODUCING))
        found.append(Condition("N1", at + 20 * MINUTE, at + 30 * MINUTE, WAITING))
        found.append(Count("N1", at + 20 * MINUTE, TOTAL, 1, "PH-12"))
    return found


def starts(store, plant, machine="N1"):
    """Which days are tallied, counted from the first."""
    work, _ = works_of(store, plant, (BEGIN - DAY, END))
    return [(t.start_us - MIDNIGHT) // DAY for t in work.tallies(machine)]


def test_whole_days_that_are_over_are_tallied():
    with stored(steady()) as (store, plant):
        assert Tallying(plant, store).fill() == 4
        # the first day is not whole, and after the last one somebody may still be waited for
        assert starts(store, plant) == [1, 2, 3, 4]


def test_a_day_into_which_a_condition_reaches_that_goes_on_is_not_tallied():
    begun = MIDNIGHT + 3 * DAY - 2 * HOUR
    facts = [f for f in steady() if getattr(f, "end_us", 0) <= begun and getattr(f, "time_us", 0) <= begun]
    with stored([*facts, Condition("N1", begun, END, WAITING, open=True)]) as (store, plant):
        Tallying(plant, store).fill()
        assert starts(store, plant) == [1]


def test_what_is_written_later_throws_its_day_and_those_after_it_away():
    with stored(steady()) as (store, plant):
        Tallying(plant, store).fill()
        store.writer().commit(Batch(facts=[Count("N1", MIDNIGHT + 3 * DAY, SCRAP, 1, "PH-12")]))
        assert starts(store, plant) == [1, 2]
        store.writer().commit(Batch(facts=[Count("S1", MIDNIGHT, SCRAP, 1, "PH-12")]))
        assert starts(store, plant) == [1, 2]


def test_a_commit_that_fails_leaves_the_tallies():
    with stored(steady()) as (store, plant):
        Tallying(plant, store).fill()
        broken = Batch(
            facts=[Count("N1", MIDNIGHT + 2 * DAY, SCRAP, 1, "PH-12")], checkpoints={"N1": {"": object()}}
        )
        with pytest.raises(TypeError):
            store.writer().commit(broken)
        assert starts(store, plant) == [1, 2, 3, 4]


def test_step_by_step_it_is_the_same_as_at_once():
    with stored(steady()) as (store, plant):
        tallying = Tallying(plant, store)
        assert sum(tallying.step() for _ in range(4 * DAYS)) == 4
        assert starts(store, plant) == [1, 2, 3, 4]
        assert tallying.fill() == 0


def test_parts_judged_later_count_in_tallied_days_too():
    with stored(steady()) as (store, plant):
        Tallying(plant, store).fill()
        span = MIDNIGHT + DAY, MIDNIGHT + 5 * DAY
        entered = Entry("N1", span[0] + DAY, span[0] + DAY + HOUR, Judgement("PH-12", SCRAP, 1), "Ana", END)
        with store.entering() as door:
            door.add(entered)
        with_tallies, without = works_of(store, plant, span)
        assert with_tallies.rest("N1") == []
        assert with_tallies.oee_sums("N1", [span]) == without.oee_sums("N1", [span])
        assert with_tallies.oee_sums("N1", [span]).scrap == 1


def test_a_machine_that_does_not_count_its_parts_is_not_tallied():
    facts = [replace(fact, machine="S1") for fact in steady()]
    with stored(facts) as (store, plant):
        assert Tallying(plant, store).fill() == 0
