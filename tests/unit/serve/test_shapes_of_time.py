"""Pure helpers: thinning, part runs, ribbons, words."""

from __future__ import annotations

from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from swarfline.facts import Condition, Cycle
from swarfline.serve.assemble import part_runs
from swarfline.serve.page import words
from swarfline.serve.page.ribbon import LEVEL, ribbon
from swarfline.serve.series import PER_SLOT, thin


@given(st.lists(st.floats(1, 1000), min_size=1, max_size=400), st.integers(1, 20))
def test_thinning_keeps_the_ends_and_every_extreme(values, buckets):
    kept = thin(range(len(values)), values, (0, len(values)), buckets)
    told = [values[i] for i in kept]
    assert kept == sorted(set(kept)) and len(kept) <= PER_SLOT * buckets
    assert {min(values), max(values), values[0], values[-1]} <= set(told)


@given(st.lists(st.tuples(st.integers(1, 20), st.sampled_from("AB"))), st.integers(50, 100))
def test_part_runs_tile_the_span(lengths, end):
    cycles, at = [], 0
    for length, part in lengths:
        if at < end:
            cycles.append(Cycle("N1", at, at + length, "complete", part=part))
        at += length
    runs = part_runs(cycles, (5, end))
    pieces = sorted(piece for found in runs.values() for piece in found)
    assert pieces[0][0] == 5 and pieces[-1][1] == end
    assert all(a[1] == b[0] for a, b in pairwise(pieces))


def test_part_runs_by_the_cycle_begun_last():
    cycles = [Cycle("N1", s, s + 5, "complete", part=p) for s, p in ((-3, "A"), (10, "A"), (20, "B"), (30, "A"))]
    assert part_runs(cycles, (0, 40)) == {"A": [(0, 20), (30, 40)], "B": [(20, 30)]}
    assert part_runs([], (0, 40)) == {"": [(0, 40)]}


def test_a_ribbon_is_true_to_scale_and_blank_ahead():
    facts = [Condition("N1", 0, 10, "producing"), Condition("N1", 20, 30, "fault")]
    drawn = ribbon(facts, (0, 100), 40)
    assert drawn["producing"] == "M0 0H100V24H0Z"
    assert drawn["unobserved"] == "M100 11H200V13H100ZM300 11H400V13H300Z"
    assert drawn["fault"].startswith("M200 0H300V24H200Z") and drawn["waiting"] == ""


def test_conditions_differ_by_height_unless_notched():
    heights = [level for name, level in LEVEL.items() if name != "fault"]
    assert len(set(heights)) == len(heights)


@pytest.mark.parametrize(
    ("us", "text"),
    [(None, "–"), (0, "0 s"), (42_400_000, "42 s"), (720_000_000, "12 min"), (11_100_000_000, "3 h 05 min")],
)
def test_lengths(us, text):
    assert words.length(us) == text


def test_numbers():
    assert words.number(12345.678, 1) == "12\u202f345.7"
    assert words.number(-3) == "−3" and words.number(-0.01, 1) == "0.0" and words.number(None) == "–"
    assert words.life(16461.3, "time") == "4 h 34 min" and words.life(None, "time") == "–"
    assert words.life(95.0, "count") == "95" and words.life(187.24, "distance") == "187.2 m"
    assert words.percent(None) == "–" and words.percent(0) == "0.0 %"
    assert (words.signed(3.4), words.signed(-2), words.signed(0.2)) == ("3 ahead", "2 behind", "on plan")


def test_clocks_name_other_days():
    zone, now = ZoneInfo("Europe/Madrid"), 1_773_140_400_000_000
    assert words.clock(now, zone, now) == "12:00"
    assert words.clock(now + 86_400_000_000, zone, now) == "Wed 12:00"
    assert words.clock(now - 86_400_000_000, zone, now) == "9 Mar 12:00"


def test_numbers_in_text_sort_as_numbers():
    pots = ["10", "2", "B1", "1", "A2/10", "A2/9", "", "a2/1", "11"]
    assert sorted(pots, key=words.natural) == ["", "1", "2", "10", "11", "a2/1", "A2/9", "A2/10", "B1"]


def test_why_a_life_ended_is_said_in_words():
    assert "set back" in words.life_end("reset") and "another tool" in words.life_end("replaced")
    assert words.life_end("") == "–" and words.life_end("worn") == "worn"
