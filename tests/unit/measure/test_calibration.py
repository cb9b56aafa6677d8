"""The 80 % intervals of tool forecasts hold the truth in about 80 % of the cases.

The method was chosen on the seeds of DEVELOPED; FRESH seeds were set down beforehand and first looked at when it
was done. Times were held, of 2400 on machines that stop at random, in 80.4 % on DEVELOPED and 80.5 % on FRESH (by
setting 77 to 86 % and 76 to 87 %); of 1000 on the simulator's machines, five seeds each, in 79.2 % and 78.9 % (by
machine 77 to 82 % and 75 to 83 %). Whole numbers of cycles are held more often (88 to 91 %): an interval of cycles
has no room for a part of one.
"""

from __future__ import annotations

from collections.abc import Iterable

import pytest

from swarfline.calendar import intersect
from swarfline.measure.forecast import tool_forecasts

from . import renewal, simulated
from .renewal import History, Setting

COUNT = 400
DEVELOPED, FRESH = 202_611_250_000, 314_150_000
SHORT, LONG = (0.025, 300.0, 0.8), (0.003, 1500.0, 0.6)
SETTINGS = {
    "steady": Setting(),
    "stops": Setting(stops=(SHORT, LONG)),
    "rare long stops": Setting(stops=((0.005, 2400.0, 0.7),)),
    "a tool of some cycles": Setting(share_using=0.4, life=(20.0, 4.0), stops=(SHORT,)),
    "soon": Setting(cycles_ahead=(4, 20), stops=(SHORT, LONG)),
    "long cycles": Setting(cycle_s=1200.0, history=40, cycles_ahead=(8, 60), stops=((0.03, 900.0, 0.8),)),
}
MACHINES = ("N1", "N2", "N3", "N4", "S2")


def held(histories: Iterable[History]) -> tuple[list[bool], list[bool]]:
    """Whether cycles left and the time of the limit lie in their intervals, of the forecasts that tell them."""
    cycles, times = [], []
    for known in histories:
        (found,) = tool_forecasts(
            [known.life],
            known.cycles,
            intersect(known.planned, [(known.cycles[0].start_us, known.now_us)]),
            lambda start, end, planned=known.planned: intersect(planned, [(start, end)]),
            known.now_us,
        )
        low, high = found.cycles_left_low, found.cycles_left_high
        if low is not None:
            cycles.append(low <= known.cycles_left and (high is None or known.cycles_left <= high))
        soonest, latest = found.limit_at_low_us, found.limit_at_high_us
        if soonest is not None:
            times.append(soonest <= known.limit_at_us and (latest is None or known.limit_at_us <= latest))
    return cycles, times


def share(found: list[bool]) -> float:
    return sum(found) / len(found)


@pytest.mark.parametrize("seeds", [DEVELOPED, FRESH])
def test_on_machines_that_stop_at_random(seeds):
    every: list[bool] = []
    for name, setting in SETTINGS.items():
        cycles, times = held(renewal.history(name, setting, seed) for seed in range(seeds, seeds + COUNT))
        assert len(times) == COUNT
        assert share(cycles) >= 0.75, name
        assert 0.72 <= share(times) <= 0.88, name
        every += times
    assert 0.75 <= share(every) <= 0.85


def test_on_the_machines_of_the_simulator():
    """One of the fresh seeds. Forecasts of the same three weeks share their stops: 200 count as far fewer.

    This seed alone holds 74.5 % (with its followers up to 314 155: 78.9 %), so the band is wider here.
    """
    found = [held(simulated.histories(name, 314_151, 40)) for name in MACHINES]
    cycles = [one for told, _ in found for one in told]
    times = [one for _, told in found for one in told]
    assert len(times) >= 0.95 * 40 * len(MACHINES)
    assert share(cycles) >= 0.75
    assert 0.70 <= share(times) <= 0.90
