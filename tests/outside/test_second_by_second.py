"""A day of one machine, second by second in numpy arrays, against what intervals give: B-1 to B-5.

Library: numpy, by another route. The days are made up; the formulas are those of ISO 22400-2 (from memory) where
the figure is of it, else our own definition.
"""

from datetime import time
from fractions import Fraction
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from swarfline.calendar import Break, Calendar, PlannedStop, Shift
from swarfline.facts import COMPLETE, CONDITIONS, SCRAP, TOTAL, Condition, Count, Cycle
from swarfline.measure.elements import time_elements
from swarfline.measure.energy import EnergySums
from swarfline.measure.kpis import KpiSums, events, kpis
from swarfline.measure.losses import StoppedTimes, losses
from swarfline.measure.oee import OeeSums
from swarfline.measure.pace import pace
from swarfline.measure.production import PartPlan, best_demonstrated_us, production
from swarfline.measure.stops import stops

SECOND = 1_000_000
DAY_S = 24 * 3600
BEGIN_S = 1_772_409_600
"""Monday 2026-03-02, midnight UTC."""
SPAN = (BEGIN_S * SECOND, (BEGIN_S + DAY_S) * SECOND)
SHORT_S = 300
EVERY_DAY = frozenset(range(1, 8))
CALENDAR = Calendar(
    ZoneInfo("UTC"),
    (
        Shift("early", time(6), time(14), EVERY_DAY, (Break(time(9), time(9, 20)),)),
        Shift("late", time(14), time(22), EVERY_DAY, (Break(time(18), time(18, 30)),)),
    ),
    (PlannedStop((BEGIN_S + 20 * 3600) * SECOND, (BEGIN_S + 21 * 3600) * SECOND),),
)


def clock(hour, minute=0):
    return hour * 3600 + minute * 60


def planned_seconds():
    """Shifts less breaks and the planned stop, by the second."""
    planned = np.zeros(DAY_S, dtype=bool)
    planned[clock(6) : clock(22)] = True
    for start, end in ((clock(9), clock(9, 20)), (clock(18), clock(18, 30)), (clock(20), clock(21))):
        planned[start:end] = False
    return planned


def day_of(seed):
    """(facts, the word of each second; empty where no fact tells)."""
    source = np.random.default_rng(seed)
    words, facts, at = np.full(DAY_S, "", dtype="U16"), [], 0
    while at < DAY_S:
        end = min(DAY_S, at + int(source.integers(20, 1500)))
        word = str(source.choice([*CONDITIONS, "producing", "producing", ""]))
        if word:
            words[at:end] = word
            facts.append(Condition("N1", (BEGIN_S + at) * SECOND, (BEGIN_S + end) * SECOND, word))
        at = end
    return facts, words


def runs(words):
    """Lists of seconds of each run without production, in the way of a stop: planned seconds of observed time."""
    found, run = [], []
    stands = ~np.isin(words, ["producing", "unobserved", ""])
    planned = planned_seconds()
    for second in range(DAY_S):
        if stands[second]:
            run.append(second)
        elif run:
            found.append(run)
            run = []
    found.append(run)
    kept = ([second for second in run if planned[second]] for run in found)
    return [run for run in kept if run]


def in_full(facts):
    planned = CALENDAR.planned("N1", *SPAN)
    return time_elements(facts, planned, SPAN), stops(facts, planned, SPAN, SHORT_S * SECOND)


SEEDS = pytest.mark.parametrize("seed", range(4))


@SEEDS
def test_b_1_time_elements(seed):
    """planned_time to actual_down_time: seconds counted."""
    facts, words = day_of(seed)
    planned = planned_seconds()

    def inside(*names):
        return int(np.count_nonzero(planned & np.isin(words, names)))

    outside = int(np.count_nonzero(~planned & (words == "producing")))
    found, _ = in_full(facts)
    unknown = inside("", "unobserved")
    assert found.planned_us == planned.sum() * SECOND
    assert found.unobserved_us == unknown * SECOND
    assert float(found.coverage) == pytest.approx(1 - unknown / planned.sum(), rel=1e-12)
    assert found.producing_outside_us == outside * SECOND
    assert found.planned_busy_us == (planned.sum() - unknown + outside) * SECOND
    assert found.production_us == (inside("producing") + outside) * SECOND
    assert found.setup_us == inside("setup") * SECOND
    assert found.delay_us == inside("held", "fault", "out_of_service") * SECOND
    assert found.down_us == inside("waiting", "off") * SECOND


def counted(seed):
    source = np.random.default_rng(100 + seed)
    rows = [
        (int(source.integers(0, DAY_S)), int(source.integers(1, 9)), bool(source.integers(0, 2)))
        for _ in range(40)
    ]
    counts = [Count("N1", (BEGIN_S + at) * SECOND, TOTAL, n, "PH-12", across_gap=gap) for at, n, gap in rows]
    scrap = [
        Count("N1", (BEGIN_S + at + 1) * SECOND, SCRAP, 1, "PH-12", across_gap=gap) for at, _, gap in rows[:9]
    ]
    return rows, [*counts, *scrap]


@SEEDS
def test_b_2_parts(seed):
    """produced, good, scrap, unjudged, across_gap: columns of a table added up."""
    rows, counts = counted(seed)
    found = production(counts, [], {"PH-12": PartPlan("PH-12", 90 * SECOND, 2)}, SPAN)
    made = np.array([n for _, n, _ in rows])
    gap = np.array([g for _, _, g in rows])
    quantities = found.by_part["PH-12"]
    assert (quantities.total, quantities.scrap, quantities.gap_total) == (made.sum(), 9, made[gap].sum())
    assert (quantities.good, quantities.unjudged) == (made.sum() - 9, made.sum() - 9)
    assert found.planned_produced_us == 45 * SECOND * int(made[~gap].sum())


@SEEDS
def test_b_3_stops_and_what_is_lost(seed):
    """stop_loss, good_parts, scrap_parts, slow_running, and the KPIs that count stops and parts by the hour."""
    facts, words = day_of(seed)
    rows, counts = counted(seed)
    made = production(counts, [], {"PH-12": PartPlan("PH-12", 90 * SECOND, 2)}, SPAN)
    elements, stopped = in_full(facts)
    stands = runs(words)
    expected = {}
    for run in stands:
        for second in run:
            key = (str(words[second]), "long" if len(run) > SHORT_S else "short")
            expected[key] = expected.get(key, 0) + 1
    split = losses(OeeSums.of(elements, made), StoppedTimes(stopped).within([SPAN])).rows()
    found = {(row.name, row.length): row.time_us / SECOND for row in split if row.time_us}
    assert {key: s for key, s in found.items() if key[1]} == expected

    planned = planned_seconds()
    producing = int(np.count_nonzero(words == "producing"))
    observed = int(np.count_nonzero(planned & ~np.isin(words, ["", "unobserved"])))
    busy = observed + int(np.count_nonzero(~planned & (words == "producing")))
    timed = sum(n for _, n, gap in rows if not gap)
    spoilt = sum(1 for _, _, gap in rows[:9] if not gap)
    assert found[("good_parts", "")] == 45 * (timed - spoilt)
    assert found.get(("scrap_parts", ""), 0) == 45 * spoilt
    assert found[("slow_running", "")] == producing - 45 * timed

    told = kpis(KpiSums.of(elements, made, events(stopped, SPAN), EnergySums()))
    long_stops = sum(len(run) > SHORT_S for run in stands)
    assert told["mean_time_between_long_stops"].value == pytest.approx(producing / long_stops, rel=1e-12)
    assert told["parts_per_busy_hour"].value == pytest.approx(3600 * timed / busy, rel=1e-12)


@pytest.mark.parametrize("now_s", [clock(5), clock(9, 10), clock(12), clock(18, 15), clock(23)])
def test_b_4_pace(now_s):
    """pace_target, pace_expected, pace_ahead, pace_forecast: planned seconds that have passed, counted."""
    planned = planned_seconds()
    gone = int(planned[:now_s].sum())
    at_us = (BEGIN_S + now_s) * SECOND
    found = pace(300, Fraction(45 * SECOND), CALENDAR.planned("N1", *SPAN), SPAN, at_us)
    assert float(found.target) == pytest.approx(planned.sum() / 45, rel=1e-12)
    assert float(found.expected) == pytest.approx(gone / 45, rel=1e-12)
    assert float(found.ahead) == pytest.approx(300 - gone / 45, rel=1e-12)
    if gone:
        assert float(found.forecast) == pytest.approx(300 * planned.sum() / gone, rel=1e-12)
    else:
        assert found.forecast is None


@pytest.mark.parametrize(("count", "share"), [(19, 0.0), (20, 0.1), (57, 0.1)])
def test_b_5_best_demonstrated_time(count, share):
    """numpy: the quantile at 0.1, linear (type 7); of fewer than 20 the least."""
    lengths = np.random.default_rng(count).integers(40 * SECOND, 60 * SECOND, count)
    cycles = [Cycle("N1", i * 100 * SECOND, i * 100 * SECOND + int(us), COMPLETE) for i, us in enumerate(lengths)]
    assert best_demonstrated_us(cycles) == pytest.approx(float(np.quantile(lengths, share)), abs=0.5)
