"""Spindle load over a tool's life: what it is held against, when it counts as rising, and how often by chance."""

from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from swarfline.facts import ToolLife, ToolUse
from swarfline.measure.loads import (
    EARLIER,
    FIRST_TENTH,
    NONE,
    RISING,
    STEADY,
    UNKNOWN,
    Load,
    earlier_lives,
    life_loads,
    load_trend,
    whole_life,
)
from swarfline.measure.tendency import likeness, rank_score, rise_chance, robust_slope

WEAR = 0.25
"""How much the load of an ordinary tool grows over its life."""


def a_life(level=30.0, growth=WEAR, cycles=200, until=1.0, noise=0.0, rng=None):
    rng = rng or Random(1)
    shares = [until * n / cycles for n in range(cycles)]
    means = [level * (1 + growth * s) * (1 + noise * rng.gauss(0, 1)) for s in shares]
    return [Load(s, mean, 2 * mean) for s, mean in zip(shares, means, strict=True)]


def test_an_ordinary_life_is_steady_against_earlier_ones():
    found = load_trend(a_life(until=0.9), [a_life(), a_life(), a_life()])
    assert (found.baseline, found.earlier_lives, found.sign) == (EARLIER, 3, STEADY)
    assert found.rise == pytest.approx(0, abs=0.01) and found.peak_rise == pytest.approx(found.rise)
    assert found.slope == pytest.approx(0, abs=0.02)
    assert found.now.peak == 2 * found.now.mean


def test_a_life_that_wears_twice_as_fast_stands_out_before_its_end():
    found = load_trend(a_life(growth=3 * WEAR, until=0.6), [a_life()] * 3)
    assert found.sign == RISING and found.chance < 1e-3
    assert found.now.at == pytest.approx(0.57, abs=0.01)
    assert found.rise == pytest.approx((1 + 0.75 * 0.57) / (1 + 0.25 * 0.57) - 1, abs=0.005)
    assert found.expected.mean == pytest.approx(30 * (1 + 0.25 * 0.57), rel=0.005)


def test_a_load_that_rises_late_and_steeply_stands_out():
    late = [Load(n.at, n.mean * (1 + n.at**4), n.peak) for n in a_life(until=0.75)]
    assert load_trend(late, [a_life()] * 3).sign == RISING


def test_a_tool_that_is_harder_throughout_is_no_rise():
    found = load_trend(a_life(level=36, growth=WEAR + 0.05), [a_life()] * 3)
    assert found.rise > 0.2 and found.chance < 0.001 and 0 < found.growth < 0.1
    assert found.sign == STEADY


def test_a_tool_that_grows_up_to_the_usual_load_is_no_rise():
    found = load_trend(a_life(level=24, growth=2 * WEAR), [a_life()] * 3)
    assert found.rise < 0 and found.chance < 0.001 and found.growth > 0.1
    assert found.sign == STEADY


def test_where_earlier_lives_were_not_seen_nothing_is_held_against_them():
    late = [n for n in a_life(growth=1.0) if n.at >= 0.5]
    found = load_trend(a_life(growth=1.0), [late])
    assert found.baseline == EARLIER and found.slope == pytest.approx(0, abs=0.05)


def test_the_middle_of_three_earlier_lives_counts():
    found = load_trend(a_life(), [a_life(level=10), a_life(), a_life(level=90)])
    assert found.rise == pytest.approx(0, abs=0.01)


def test_without_earlier_lives_the_first_tenth_is_the_baseline():
    ordinary, steep = load_trend(a_life()), load_trend(a_life(growth=0.9))
    assert (ordinary.baseline, ordinary.earlier_lives) == (FIRST_TENTH, 0)
    assert ordinary.expected.mean == pytest.approx(30 * (1 + WEAR * 0.05), rel=0.01)
    assert ordinary.slope == pytest.approx(WEAR, rel=0.03)
    assert (ordinary.sign, steep.sign) == (STEADY, RISING), "ordinary wear is no sign"


def test_earlier_lives_that_did_not_get_so_far_are_no_baseline():
    found = load_trend(a_life(), [a_life(until=0.3)])
    assert (found.baseline, found.earlier_lives) == (FIRST_TENTH, 1)


def test_a_life_seen_late_and_without_earlier_ones_tells_nothing():
    late = [n for n in a_life() if n.at > 0.4]
    found = load_trend(late)
    assert (found.baseline, found.sign, found.rise, found.expected) == (NONE, UNKNOWN, None, None)
    assert found.cycles == len(late) and found.now is not None


def test_few_cycles_show_no_trend():
    found = load_trend(a_life(cycles=29, growth=5))
    assert (found.sign, found.slope, found.chance) == (UNKNOWN, None, None)
    assert load_trend(a_life(cycles=30, growth=5)).sign == RISING
    assert load_trend([]).sign == UNKNOWN and load_trend([]).cycles == 0


def test_a_load_of_nothing_is_no_baseline():
    idle = [Load(n / 100, 0.0, 0.0) for n in range(100)]
    found = load_trend(idle)
    assert (found.rise, found.sign) == (None, UNKNOWN)


def test_ten_thousand_cycles_make_no_more_pairs_than_two_hundred():
    found = load_trend(a_life(cycles=10_000))
    assert found.cycles == 10_000 and found.slope == pytest.approx(WEAR, rel=0.03)


def alarms(lives, drift):
    """Share of lives in which a sign was seen at any of 18 looks; loads of 10 % noise, drifting by ``drift``."""
    rng, seen = Random(3), 0
    for _ in range(lives):
        earlier = [a_life(noise=0.1, rng=rng) for _ in range(3)]
        present = a_life(noise=0.1, growth=WEAR + drift, rng=rng)
        looks = (load_trend(present[:n], earlier) for n in range(30, 201, 10))
        seen += any(look.sign == RISING for look in looks)
    return seen / lives


def test_false_signs_are_rare_and_true_ones_seen():
    """docs/figures.md tells the rates, measured on more lives."""
    assert alarms(60, 0.0) <= 1 / 60
    assert alarms(20, 0.6) >= 0.9


def use(tool, mean=30.0, life_used=1.0):
    return ToolUse(tool, 1, 10, 10, mean, None if mean is None else 2 * mean, life_used)


def test_loads_of_a_life_are_told_by_program_with_the_share_used_before_them():
    life = ToolLife("N1", "P7", 100, 400, "7", used=40.0, limit=100.0)
    uses = [
        ("A", use("7", 31.0, 4.0)),
        ("B", use("7", 32.0, 6.0)),
        ("A", use("7", None, 5.0)),
        ("A", use("7", 33.0, None)),
    ]
    assert life_loads(life, uses, 100.0) == {
        "A": [Load(0.25, 31.0, 62.0), Load(0.4, 33.0, 66.0)],
        "B": [Load(0.29, 32.0, 64.0)],
    }
    assert life_loads(life, [], 100.0) == {}


def test_thinned_cycles_stand_for_those_left_out():
    life = ToolLife("N1", "P7", 0, 1000, "7", used=100.0, limit=100.0)
    every = [("A", use("7"))] * 100
    (full,), (thin,) = (life_loads(life, every[::k], 100.0, k).values() for k in (1, 5))
    assert [n.at for n in full] == pytest.approx([n / 100 for n in range(100)])
    assert [n.at for n in thin] == pytest.approx([n / 100 for n in range(0, 100, 5)])


def test_the_latest_three_earlier_lives_that_did_not_fail_are_the_baseline():
    def ended(start, **more):
        return ToolLife("N1", "P7", start, start + 10, **{"tool": "7", "used": 99.0, "limit": 100.0, **more})

    present = ToolLife("N1", "P7", 100, 200, "7", used=60.0, limit=100.0, open=True)
    good = [ended(n) for n in (10, 20, 30, 90)]
    others = [
        ended(40, used=30.0, locked=True),
        ended(50, tool="8"),
        ended(60, basis="time"),
        ended(80, used=59.0),
        ended(85, used=70.0, limit=120.0),
        ended(91),
        ended(70, open=True),
    ]
    assert earlier_lives(present, [*others, *reversed(good)]) == good[1:]


def test_a_life_without_a_limit_is_measured_by_earlier_ones():
    life = ToolLife("N1", "P7", 0, 1, "7", used=10.0)
    earlier = [ToolLife("N1", "P7", 0, 1, "7", used=u) for u in (80.0, 100.0, 300.0)]
    assert whole_life(life, earlier) == 100 and whole_life(life, []) is None
    assert whole_life(ToolLife("N1", "P7", 0, 1, "7", used=10.0, limit=50.0), earlier) == 50


def test_a_robust_slope_is_not_moved_by_wild_values():
    places = list(range(20))
    values = [3.0 * n for n in places]
    values[3], values[17] = 1e9, -1e9
    assert robust_slope(places, values) == pytest.approx(3)
    assert robust_slope([1, 1], [2, 3]) is None and robust_slope([], []) is None
    assert robust_slope([1, 1, 2], [0, 2, 5]) == 4


@given(st.lists(st.integers(-5, 5), max_size=15))
def test_the_rank_score_counts_pairs_and_turns_with_the_values(values):
    pairs = len(values) * (len(values) - 1) // 2
    assert abs(rank_score(values)) <= pairs
    assert rank_score(values) == -rank_score(values[::-1])
    assert 0 <= rise_chance(values) <= 1


def test_a_strict_rise_is_not_by_chance_and_equal_values_are():
    assert rise_chance(range(12)) < 1e-5
    assert rise_chance(range(12, 0, -1)) > 1 - 1e-5
    assert rise_chance([4] * 12) == 1 and rise_chance([]) == 1 and rise_chance([1]) == 1
    assert rise_chance([1, 2, 2, 1]) > 0.5, "as many pairs fall as rise"
    assert rise_chance(range(12), alike=0.5) > rise_chance(range(12)) > 0


def test_likeness_of_neighbours_is_found_and_none_where_there_is_none():
    rng, drawn = Random(2), [0.0]
    for _ in range(4000):
        drawn.append(0.6 * drawn[-1] + rng.gauss(0, 1))
    assert likeness(drawn) == pytest.approx(0.6, abs=0.05)
    assert likeness([rng.gauss(0, 1) for _ in range(4000)]) < 0.05
    assert (
        likeness([(-1) ** n for n in range(20)]) == 0
        and likeness([3.0] * 20) == 0
        and likeness([1, 2, 3] * 3) == 0
    )
    assert likeness([n**3 - 9 * n for n in range(100)]) == 0, "a bend is no wandering"


def test_a_wandering_load_is_no_rise():
    rng, loads, off = Random(11), [], 0.0
    for n in range(300):
        off = 0.95 * off + 0.03 * rng.gauss(0, 1)
        loads.append(Load(n / 300, 30 * (1 + off), 60.0))
    calm = [Load(n / 300, 30.0, 60.0) for n in range(300)]
    assert all(load_trend(loads[:n], [calm]).sign != RISING for n in range(30, 301, 10))
