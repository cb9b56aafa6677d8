"""Energy and demand against calculus, numpy and the definition of demand."""

import numpy as np
import pytest

from swarfline.facts import Energy
from swarfline.measure.energy import demand, energy_figures, energy_summary, peak

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
