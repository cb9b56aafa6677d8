"""Plans of tool changes against an integer programme, solved by HiGHS through scipy."""

from __future__ import annotations

from fractions import Fraction
from random import Random

import numpy as np
import pytest
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import lil_array

from swarfline.measure.changes import LifeAhead, plan_changes


def fewest(tools: list[LifeAhead], horizon: int, most: Fraction) -> int:
    """One unit flows, for each tool, from now through its changes to the end; an arc is a window that is kept.

    An arc into a stop may only be used where the stop is made; the number of stops made is least.
    """
    arcs = [(i, a, b) for i, tool in enumerate(tools) for a, b in _arcs(tool, horizon, most)]
    size = horizon + len(arcs)
    balance = lil_array((len(tools) * (horizon + 1), size))
    made = lil_array((len(tools) * horizon, size))
    for n, (i, a, b) in enumerate(arcs, horizon):
        balance[i * (horizon + 1) + a + 1, n] = 1
        if b < horizon:
            balance[i * (horizon + 1) + b + 1, n] = -1
            made[i * horizon + b, n] = 1
    for i in range(len(tools)):
        for stop in range(horizon):
            made[i * horizon + stop, stop] = -1
    source = np.zeros(len(tools) * (horizon + 1))
    source[:: horizon + 1] = 1
    cost = np.concatenate([np.ones(horizon), np.zeros(len(arcs))])
    found = milp(
        cost,
        constraints=[
            LinearConstraint(balance.tocsr(), source, source),
            LinearConstraint(made.tocsr(), -np.inf, 0),
        ],
        integrality=np.ones(size),
        bounds=Bounds(0, 1),
    )
    assert found.success
    return round(found.fun)


def _arcs(tool: LifeAhead, horizon: int, most: Fraction):
    """(from, to): −1 is now, the horizon is the end."""
    for start in range(-1, horizon):
        end = tool.left if start < 0 else start + tool.full
        if end >= horizon:
            yield start, horizon
        for stop in range(max(start + 1, 0), min(end, horizon - 1) + 1):
            if end - stop <= most * tool.full:
                yield start, stop


@pytest.mark.parametrize("seed", range(12))
def test_as_few_stops_as_an_integer_programme_finds(seed):
    rng = Random(seed)
    horizon, most = rng.randint(20, 50), Fraction(rng.choice([5, 10, 20, 35, 50]), 100)
    tools = [
        LifeAhead(rng.randrange(full), full) for full in (rng.randint(8, 60) for _ in range(rng.randint(3, 8)))
    ]
    plan, truth = plan_changes(tools, horizon, most), fewest(tools, horizon, most)
    assert plan.at_least <= truth <= len(plan.stops)
    assert plan.proven or len(plan.stops) <= truth + 1
