"""Energy and demand against calculus, numpy and the definition of demand."""

from itertools import pairwise

import numpy as np
import pytest

from swarfline.facts import Energy
from swarfline.interpret.fold import Fold
from swarfline.interpret.settings import MachineSettings
from swarfline.measure.energy import demand, energy_figures, energy_summary, peak
from swarfline.signals import LINK, LINK_BACK, LINK_LOST, Reading

SECOND = 1_000_000


def held(times_s, kilowatts):
    """Energy pieces of a power that is held from each time to the next."""
    return [
        Energy("N1", round(t * SECOND), round(end * SECOND), "producing", kw * 1000 * (end - t), "power")
        for t, end, kw in zip(times_s, times_s[1:], kilowatts, strict=False)
    ]


def test_n_1_step_hold():
    """Calculus: 380 kJ = 0.1055556 kWh, where the trapezoid rule would give 318 kJ (numpy agrees)."""
    times, power = [0, 10, 25, 60, 120, 130], [1.2, 3.4, 5.0, 2.2, 1.0, 1.0]
    sums = energy_summary(held(times, power), (0, 130 * SECOND), None)
    assert sums.total_j == pytest.approx(380e3)
    assert sums.total_j == pytest.approx(1000 * float(np.dot(np.diff(times), power[:-1])))
    assert energy_figures(sums)["energy"].value == pytest.approx(0.1055556, abs=5e-8)
    assert np.trapezoid(power, times) == pytest.approx(318)


def split_by_quarter(pieces):
    """Energy facts end at quarter hours, as interpretation books them."""
    quarter = 900 * SECOND
    for p in pieces:
        for q in range(p.start_us // quarter * quarter, p.end_us, quarter):
            start, end = max(q, p.start_us), min(q + quarter, p.end_us)
            yield Energy(
                "N1", start, end, p.condition, p.energy_j * (end - start) / (p.end_us - p.start_us), p.basis
            )


@pytest.mark.parametrize("book", [list, split_by_quarter])
def test_n_3_quarter_hour_demand(book):
    """Demand as utilities define it (mean over fixed 15 minutes, the highest counts); constructed input."""
    pieces = list(book(held([0, 300, 840, 1500, 2400, 3600], [1.0, 4.0, 2.0, 6.0, 1.5])))
    series = demand(pieces, (0, 3600 * SECOND))
    assert [d.mean_w / 1000 for d in series] == pytest.approx([2.866666666666667, 3.333333333333333, 4.5, 1.5])
    assert all(d.coverage == 1 for d in series)
    highest = peak(series)
    assert (highest.mean_w, highest.start_us) == (4500, 1800 * SECOND)
    total = energy_summary(pieces, (0, 3600 * SECOND), None)
    assert energy_figures(total)["energy"].value == pytest.approx(3.05)


def test_n_6_energy_per_part():
    """ISO 22400-2, e = E/PQ (read in a copy by others): 87.5 kWh by 250, by 240 parts; by good parts is ours."""
    pieces = [Energy("N1", 0, 3600 * SECOND, "producing", 87.5 * 3.6e6, "counter")]
    each = [
        energy_figures(energy_summary(pieces, (0, 3600 * SECOND), parts))["energy_per_good_part"].value
        for parts in (250, 240)
    ]
    assert each == pytest.approx([0.35, 0.364583333333333])


BEGIN_US = 1_772_406_000_000_000
"""A full quarter of an hour."""


def told(samples, lost=(), signal="power"):
    """Energy sums of readings (s, value), irregular in time, through interpretation; ``lost``: (from, to) s."""
    link = [(t, LINK, word) for t, word in zip(lost, (LINK_LOST, LINK_BACK), strict=False)]
    said = [(0, "state", "executing"), *((t, signal, value) for t, value in samples)]
    # what is read anew stands after the link is back; what was read last, before it is lost
    said = sorted([*link[1:], *said, *link[:1]], key=lambda s: s[0])
    readings = [Reading("N1", s, at := BEGIN_US + round(t * SECOND), at, value) for t, s, value in said]
    fold = Fold([MachineSettings("N1", frozenset({"state", signal}))])
    facts = [*fold.feed(readings).facts, *fold.flush(), *fold.open_facts()]
    pieces = {f.key: f for f in facts if isinstance(f, Energy)}
    return energy_summary(pieces.values(), (BEGIN_US, BEGIN_US + round(samples[-1][0] * SECOND)), None)


def test_n_1_irregular_samples_through_interpretation():
    """Calculus, step-hold of N-1: 380 kJ; the trapezoid would give 318 kJ, the value after each piece 256 kJ."""
    times, kilowatts = [0, 10, 25, 60, 120, 130], [1.2, 3.4, 5.0, 2.2, 1.0, 1.0]
    found = told([(t, 1000 * p) for t, p in zip(times, kilowatts, strict=True)])
    assert found.total_j == pytest.approx(380e3, rel=1e-12) and found.coverage == 1


@pytest.mark.parametrize("pieces", [4, 40, 400])
def test_n_2_the_error_of_a_rising_power_is_that_of_step_hold(pieces):
    """Calculus: power t² W for 10 s is 333.3333 J. Held values stay below it, by at most rise · interval."""
    uneven = [10 * (i / pieces) ** 1.5 for i in range(pieces + 1)]
    found = told([(t, t * t) for t in uneven]).total_j
    longest = max(b - a for a, b in pairwise(uneven))
    assert 0 < 1000 / 3 - found <= 100 * longest


def test_n_2_values():
    """Calculus: t² at 0, 1, 3, 6, 10 held is 173; the trapezoid gives 350, the truth is 333.3333."""
    found = told([(t, t * t) for t in (0, 1, 3, 6, 10)])
    assert found.total_j == pytest.approx(173, rel=1e-12)
    assert 173 < 1000 / 3 < np.trapezoid([0, 1, 9, 36, 100], [0, 1, 3, 6, 10])


def test_n_4_a_gap_is_not_bridged():
    """Our convention, both numbers told: 2 kW for 180 s = 360 kJ known, 480 s missing; bridged it were 1320 kJ."""
    samples = [(t, 2000) for t in (0, 60, 120, 600, 660)]
    found = told(samples, lost=(120, 600))
    assert found.total_j == pytest.approx(360e3, rel=1e-12)
    assert (found.covered_us, found.span_us - found.covered_us) == (180 * SECOND, 480 * SECOND)
    assert told(samples).total_j == pytest.approx(1320e3, rel=1e-12), "the same readings without a gap"


def test_n_5_a_counter_that_starts_again_goes_on_from_zero():
    """Common practice, no source: 0.4 + 0.7 + 0.2 + 0.7 kWh; after a reset the new reading is what was added."""
    found = told([(i, 1000 * kwh) for i, kwh in enumerate((1000.0, 1000.4, 1001.1, 0.2, 0.9))], signal="energy")
    assert energy_figures(found)["energy"].value == pytest.approx(2.0, rel=1e-9)


def test_n_3_demand_through_interpretation():
    """The same constructed power as above, as readings: 2.866667, 3.333333, 4.5, 1.5 kW and 3.05 kWh."""
    events = [(0, 1.0), (300, 4.0), (840, 2.0), (1500, 6.0), (2400, 1.5), (3600, 1.5)]
    assert told([(t, 1000 * p) for t, p in events]).total_j == pytest.approx(3.05 * 3.6e6, rel=1e-12)
