"""Run rules against series with known signals."""

import pytest

from swarfline.measure.runs import run_signals

SERIES = [
    ("nothing", [0.3, -0.5, 1.2, -1.4, 0.1, 0.8, -0.9, 0.4, -1.1, 1.6, -0.2, 0.7, -1.3, 0.2], {}),
    ("rule 1", [0.2, -0.4, 1.1, -0.3, 3.2, -0.6, 0.5, -1.2, 0.9], {1: [5]}),
    ("exactly 3 sigma is not beyond", [0.2, -0.4, 3.0, -0.3, 0.6], {}),
    ("rule 2", [-0.4, 0.5, 1.2, 0.3, 0.8, 1.4, 0.2, 0.6, 1.1, 0.4, -0.5], {2: [10]}),
    ("the centre line breaks a run", [0.5, 1.2, 0.3, 0.8, 0.0, 1.4, 0.2, 0.6, 1.1, 0.4], {}),
    ("rule 3", [0.4, -1.8, -1.1, -0.5, 0.2, 0.9, 1.7, -0.3], {3: [7]}),
    ("equal neighbours break a trend", [-1.8, -1.1, -0.5, -0.5, 0.9, 1.7, -0.3], {}),
    ("rule 4", [0.5, -0.5, 0.6, -0.4, 0.7, -0.3, 1.2, -0.2, 0.4, -1.3, 0.3, -0.5, 0.6, -0.6], {4: [14]}),
    ("rule 5", [0.3, 2.2, 0.4, 2.4, -0.8], {5: [4]}),
    ("opposite sides do not count together", [0.3, 2.2, 0.4, -2.4, -0.8], {}),
    ("rule 6", [0.2, 1.3, 1.5, 0.4, 1.2, 1.8, -0.7], {6: [6]}),
    ("rule 7", [0.5, -0.4, 0.3, -0.8, 0.6, -0.2, -0.1, 0.9, 0.7, -0.6, -0.5, 0.2, 0.4, -0.3, 0.1], {7: [15]}),
    ("rule 8", [1.4, -1.6, -1.2, 1.9, 1.3, -1.5, -1.7, 1.1], {8: [8]}),
]


@pytest.mark.parametrize(("values", "signals"), [s[1:] for s in SERIES], ids=[s[0] for s in SERIES])
def test_s_7_run_rules(values, signals):
    """Nelson, Journal of Quality Technology 16 (1984), as an encyclopedia retells it: rules by hand on made-up z.

    Places count from 1. That beyond is strict, that the centre line breaks a run and equal neighbours a trend is
    our convention.
    """
    found: dict[int, list[int]] = {}
    for signal in run_signals(values, 0.0, 1.0):
        found.setdefault(signal.rule, []).append(signal.place + 1)
    assert found == signals
