"""Charts, moments and quantiles against NIST and against numpy."""

import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from swarfline.measure.trend import (
    D2,
    D4,
    autocorrelation,
    deviation,
    ewma,
    ewma_limits,
    individuals,
    mean,
    quantile,
    steady_limits,
)

STRD = json.loads((Path(__file__).parent / "strd.json").read_text(encoding="utf-8"))
FLOW = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]


def test_s_1_individuals_chart():
    """NIST/SEMATECH e-Handbook 6.3.2.2, flow rates: prints 50.81, 1.8778, 55.8041, 45.8159."""
    chart = individuals(FLOW)
    assert chart.centre == pytest.approx(50.81, rel=1e-9)
    assert chart.range_mean == pytest.approx(1.877777777777778, rel=1e-9)
    assert chart.limits == pytest.approx((45.81591016548463, 55.80408983451537), rel=1e-9)
    assert chart.limits == pytest.approx((45.8159, 55.8041), abs=5e-5)
    assert chart.range_limit == pytest.approx(6.1347, rel=1e-9)
    assert chart.beyond == chart.ranges_beyond == ()


def test_s_1_constants_are_those_of_the_range_of_two_normal_values():
    """2/√π and 1 + 3·√(2 − d2²)/d2, closed forms; the tables print three digits."""
    d2 = 2 / np.sqrt(np.pi)
    assert pytest.approx(d2, abs=5e-4) == D2
    assert pytest.approx(1 + 3 * np.sqrt(2 - d2**2) / d2, abs=5e-4) == D4


EWMA_DATA = [52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5,
             49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]  # fmt: skip
EWMA_PRINTED = [50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33,
                50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99]  # fmt: skip


def test_s_2_ewma():
    """NIST/SEMATECH e-Handbook 6.3.2.4: λ 0.3, start 50, σ 2.0539; its lower limit carries a slip of 1e-4."""
    found = ewma(EWMA_DATA, 0.3, 50)
    assert found == pytest.approx(EWMA_PRINTED, abs=5.001e-3)
    assert found[-1] == pytest.approx(51.9882432586, abs=1e-9)
    assert steady_limits(50, 2.0539, 0.3) == pytest.approx((47.411568261873384, 52.588431738126616), rel=1e-9)
    limits = ewma_limits(20, 50, 2.0539, 0.3)
    assert limits[0] == pytest.approx((48.15149, 51.84851), abs=1e-9)
    assert limits[1] == pytest.approx((47.7436059879, 52.2563940121), abs=1e-9)
    assert limits[19] == pytest.approx((47.4115690859, 52.5884309141), abs=1e-9)
    assert all(low <= z <= high for z, (low, high) in zip(found, limits, strict=True))


@pytest.mark.parametrize("name", STRD)
def test_s_8_certified_mean_and_deviation(name):
    """NIST StRD, univariate summary statistics: certified to 15 digits."""
    values = [float(v) for v in STRD[name]["data"]]
    assert individuals(values).centre == pytest.approx(STRD[name]["mean"], rel=1e-14)
    assert deviation(values) == pytest.approx(STRD[name]["deviation"], rel=1e-12)


@pytest.mark.parametrize("name", STRD)
def test_s_8_certified_autocorrelation(name):
    """NIST StRD, univariate summary statistics: lag 1, certified to 15 digits."""
    values = [float(v) for v in STRD[name]["data"]]
    assert autocorrelation(values) == pytest.approx(STRD[name]["autocorrelation"], rel=1e-11)


@pytest.mark.parametrize(
    ("values", "certified_mean", "certified_deviation", "tolerance"),
    [
        ([10000001.0, 10000003.0, 10000002.0], 10000002.0, 1.0, 1e-14),
        ([1.2] + [1.1, 1.3] * 500, 1.2, 0.1, 1e-13),
        ([1000000.2] + [1000000.1, 1000000.3] * 500, 1000000.2, 0.1, 1e-8),
        ([10000000.2] + [10000000.1, 10000000.3] * 500, 10000000.2, 0.1, 1e-8),
    ],
    ids=["NumAcc1", "NumAcc2", "NumAcc3", "NumAcc4"],
)
def test_s_8_s_9_numerical_accuracy(values, certified_mean, certified_deviation, tolerance):
    """NIST StRD NumAcc1–4; a sum of squares gives 0.0 on the last, and the inputs themselves carry 1e-9."""
    assert mean(values) == pytest.approx(certified_mean, rel=1e-14)
    assert deviation(values) == pytest.approx(certified_deviation, rel=tolerance)


WAFERS = [95.1772, 95.1567, 95.1937, 95.1959, 95.1442, 95.0610,
          95.1591, 95.1195, 95.1065, 95.0925, 95.1990, 95.1682]  # fmt: skip


def test_q_1_wafer_resistivity():
    """NIST/SEMATECH e-Handbook 7.2.6.2, type R7 at 0.9: prints 95.1957."""
    assert quantile(sorted(WAFERS), 0.9) == pytest.approx(95.19568, rel=1e-9)


@pytest.mark.parametrize(
    ("p", "expected"),
    [(0.05, 16), (0.25, 20), (0.3, 23), (0.4, 29), (0.5, 35), (0.75, 40), (0.95, 48), (0.99, 49.6)],
)
def test_q_2_type_7(p, expected):
    """Hyndman & Fan 1996, type 7 (from memory); numpy, pandas and R agree."""
    assert quantile([15, 20, 35, 40, 50], p) == pytest.approx(expected, rel=1e-12)


values_lists = st.lists(st.floats(-1e6, 1e6), min_size=2, max_size=50)


@given(values_lists, st.floats(0, 1))
def test_quantiles_agree_with_numpy(values, p):
    """Reference library: numpy, method linear (type 7)."""
    assert quantile(sorted(values), p) == pytest.approx(np.quantile(values, p, method="linear"), abs=1e-6)


@given(values_lists)
def test_moments_agree_with_numpy(values):
    """Reference library: numpy, mean and standard deviation with n − 1."""
    size = 1 + max(map(abs, values))
    assert mean(values) == pytest.approx(float(np.mean(values)), abs=1e-9 * size)
    assert deviation(values) == pytest.approx(float(np.std(values, ddof=1)), abs=1e-7 * size)
