"""Judgements entered later: what they change, how far, and that every cut of the time adds up to the same."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from swarfline.entries import JUDGED, Entry, Judgement, Undone
from swarfline.facts import GOOD, SCRAP, TOTAL, Count
from swarfline.measure.judgements import judged, since
from swarfline.measure.production import Quantities, production

from .timelines import END, PLANS, counts, spans


def made(*quantities, kind=TOTAL, first=0, part="PH-12", gap=False):
    """So many parts at 0, 10, 20, …"""
    return [Count("N1", first + 10 * n, kind, q, part, across_gap=gap) for n, q in enumerate(quantities) if q]


def entry(kind, quantity, start=0, end=END, number=1, part="PH-12", **more):
    return Entry("N1", start, end, Judgement(part, kind, quantity), "Ana", 900, "", number, **more)


def parts(facts, entries, span=(0, END)):
    return production(facts, [], PLANS, span, judged(facts, entries)[0]).by_part["PH-12"]


def test_scrap_is_taken_from_the_unjudged_first():
    facts = [*made(10), *made(6, kind=GOOD)]
    found = parts(facts, [entry("scrap", 3)])
    assert (found.total, found.good, found.judged_good, found.scrap, found.unjudged) == (10, 7, 6, 3, 1)
    found = parts(facts, [entry("scrap", 7)])
    assert (found.good, found.judged_good, found.scrap, found.unjudged) == (3, 3, 7, 0)


def test_good_takes_scrap_back():
    facts = [*made(10), *made(4, kind=SCRAP)]
    found = parts(facts, [entry("good", 3)])
    assert (found.good, found.judged_good, found.scrap, found.unjudged) == (9, 3, 1, 6)


def test_rework_is_counted_apart():
    facts = [*made(10), *made(4, kind=SCRAP)]
    found = parts(facts, [entry("rework", 5)])
    assert found == parts(facts, []) + Quantities(rework=5)


def test_what_is_planned_for_good_parts_follows():
    corrections, _ = judged(made(10), [entry("scrap", 4)])
    found = production(made(10), [], PLANS, (0, END), corrections)
    assert found.planned_produced_us == PLANS["PH-12"].item_us * 10
    assert found.planned_good_us == PLANS["PH-12"].item_us * 6


def test_scrap_across_a_gap_stays_out_of_the_ratios():
    found = parts(made(10, gap=True), [entry("scrap", 4)])
    assert (found.scrap, found.gap_scrap) == (4, 4)


@pytest.mark.parametrize(
    ("per_count", "quantity", "spread"),
    [
        ((10, 10, 10), 1, [0, 1, 0]),
        ((10, 10, 10), 3, [1, 1, 1]),
        ((6, 3, 1), 10, [6, 3, 1]),
        ((60, 40), 10, [6, 4]),
        ((1, 1, 1, 1), 2, [1, 0, 1, 0]),
    ],
)
def test_it_is_spread_evenly_in_whole_parts(per_count, quantity, spread):
    facts = made(*per_count)
    entries = [entry("scrap", quantity)]
    assert [parts(facts, entries, (c.time_us, c.time_us + 1)).scrap for c in facts] == spread


def test_only_parts_of_its_span_and_number_are_touched():
    facts = [*made(5, 5, 5), *made(9, part="VC-30", first=15)]
    corrections, (applied,) = judged(facts, [entry("scrap", 5, 10, 20)])
    assert [(c.time_us, c.part, c.change.scrap) for c in corrections] == [(10, "PH-12", 5)]
    assert (applied.before, applied.after) == (Quantities(5), Quantities(5, scrap=5))


def test_never_more_than_there_are():
    facts = [*made(10), *made(4, kind=SCRAP)]
    for kind, there in (("scrap", 6), ("good", 4), ("rework", 10)):
        _, (applied,) = judged(facts, [entry(kind, 99)])
        assert applied.quantity == there
    assert judged([], [entry("scrap", 1)])[1][0].quantity == 0


def test_a_later_entry_changes_what_earlier_ones_left():
    entries = [entry("good", 1, number=2), entry("scrap", 3, number=1)]
    _, (first, second) = judged(made(10), entries)
    assert (first.entry.number, first.before.scrap, first.after.scrap) == (1, 0, 3)
    assert (second.before, second.after.scrap, second.quantity) == (first.after, 2, 1)


def test_an_undone_entry_changes_nothing():
    undone = entry("scrap", 3, undone=Undone("Luis", 901))
    assert judged(made(10), [undone]) == ([], [])


@pytest.mark.parametrize(
    ("kind", "quantity", "at"),
    [
        ("scrap", 1, 20),
        ("scrap", 5, 20),
        ("scrap", 6, 0),
        ("scrap", 9, 0),
        ("scrap", 10, None),
        ("rework", 6, 10),
        ("good", 1, 10),
        ("good", 2, None),
    ],
)
def test_the_last_parts_before_a_moment(kind, quantity, at):
    facts = [*made(5, 0, 5), *made(1, kind=SCRAP, first=10)]
    facts = [*facts, *made(50, part="VC-30", first=20)]
    if kind == "rework":
        facts = [*facts, *made(1, first=10)]
    assert since(facts, [], Judgement("PH-12", kind, quantity)) == at


def test_parts_judged_already_are_not_taken_twice():
    facts = made(5, 5)
    corrections, _ = judged(facts, [entry("scrap", 5, 10, 11)])
    assert since(facts, corrections, Judgement("PH-12", "scrap", 1)) == 0


said = st.builds(Judgement, st.sampled_from(["PH-12", "VC-30"]), st.sampled_from(JUDGED), st.integers(1, 30))
entries = st.lists(st.tuples(spans, said), max_size=5).map(
    lambda found: [Entry("N1", *span, said, "Ana", 900, "", n) for n, (span, said) in enumerate(found, 1)]
)


@given(counts, entries, spans, st.integers(0, END))
def test_splitting_a_span_and_adding_is_the_whole(facts, told, span, at):
    corrections, _ = judged(facts, told)
    cut = min(max(at, span[0]), span[1])
    first, second, whole = (
        production(facts, [], PLANS, s, corrections) for s in ((span[0], cut), (cut, span[1]), span)
    )
    assert first + second == whole


@given(counts, entries)
def test_good_scrap_and_unjudged_stay_the_total(facts, told):
    corrections, applied = judged(facts, told)
    plain = production(facts, [], PLANS, (0, END + 1))
    found = production(facts, [], PLANS, (0, END + 1), corrections)
    for part, q in found.by_part.items():
        assert q.judged_good + q.scrap + q.unjudged == q.total == plain.by_part[part].total
        assert q.good + q.scrap == q.total
        of_part = [a for a in applied if a.entry.said.part == part]
        moved = {k: sum(a.quantity for a in of_part if a.entry.said.judged == k) for k in JUDGED}
        assert q.scrap - plain.by_part[part].scrap == moved["scrap"] - moved["good"]
        assert q.rework == moved["rework"]


@given(counts, entries)
def test_no_entry_takes_more_than_there_is_at_any_moment(facts, told):
    corrections, applied = judged(facts, told)
    for one in applied:
        assert 0 <= one.quantity <= one.entry.said.quantity
        # more scrap than made is only what the machine said so itself
        assert one.after.scrap <= max(one.before.scrap, one.after.total)
        assert one.after.rework <= one.after.total
    for c in corrections:
        here = production(facts, [], PLANS, (c.time_us, c.time_us + 1), corrections).by_part[c.part]
        assert here.rework <= here.total
        assert here.scrap >= 0


@given(counts, entries)
def test_entries_far_apart_do_not_matter_to_one_another(facts, told):
    """So each span may be reckoned by itself, from the entries that reach into it or into one another."""
    far = [Entry("N1", 5 * END, 6 * END, Judgement("PH-12", "scrap", 3), "Ana", 900, "", 99)]
    beyond = [Count("N1", 5 * END + 7, TOTAL, 9, "PH-12")]
    near, _ = judged(facts, told)
    both, _ = judged([*facts, *beyond], [*told, *far])
    assert [c for c in both if c.time_us <= END] == near
