"""A clock that is set while it is watched: what waits, in which order it is handed over, what is told between."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator, Callable

import pytest

from swarfline.connect import steps
from swarfline.connect.steps import Steps
from swarfline.connect.supervise import ClockOffset
from swarfline.signals import Reading

NOW_US = 1_795_600_000_000_000
SECOND_US = 1_000_000
INTERVAL_S = 0.05

Told = list[float | str]


def reading(name: str, off_s: float, received_us: int = NOW_US) -> Reading:
    """Its source time is off by so much from the time of its receipt."""
    return Reading("N1", name, received_us + round(off_s * SECOND_US), received_us, 1)


class Bench:
    """Steps with a clock that is off by ``off_s``; ``told`` gets names of readings and offsets in s."""

    def __init__(self) -> None:
        self.told: Told = []
        self.off_s = 0.0
        self.probes = 0
        self.offset = ClockOffset()
        self.steps = Steps(self.offset, self.probe, self._give, lambda us: self.told.append(us / SECOND_US))

    def _give(self, readings: list[Reading], _now_us: int) -> None:
        self.told += [r.signal for r in readings]

    async def probe(self) -> None:
        self.probes += 1
        self.offset.add(NOW_US, NOW_US, NOW_US + round(self.off_s * SECOND_US), None)

    def take(self, **off_s: float) -> None:
        """One message, sorted by source time as they all are."""
        readings = sorted((reading(name, s) for name, s in off_s.items()), key=lambda r: r.source_us)
        self.steps.take(readings, NOW_US)

    async def until(self, true: Callable[[], bool]) -> None:
        async with asyncio.timeout(60):
            while not true():
                await asyncio.sleep(0.005)


@pytest.fixture
async def bench(monkeypatch: pytest.MonkeyPatch) -> AsyncIterator[Bench]:
    monkeypatch.setattr(steps, "TICK_S", 0.01)
    made = Bench()
    await made.probe()
    made.offset.news(force=True)
    made.steps.paced(INTERVAL_S)
    work = asyncio.create_task(made.steps.run())
    yield made
    work.cancel()
    with contextlib.suppress(asyncio.CancelledError):
        await work


@pytest.mark.parametrize("step_s", [90.0, -90.0])
async def test_the_old_clock_then_the_offset_then_the_new_clock(bench: Bench, step_s: float) -> None:
    bench.off_s = step_s
    bench.take(old=-0.3, new=step_s - 0.1)
    bench.take(newer=step_s - 0.2)
    assert bench.told == []
    await bench.until(lambda: not bench.steps.is_holding)
    assert bench.told == ["old", step_s, "new", "newer"]
    bench.take(after=step_s)
    assert bench.told[-1] == "after"


async def test_a_measurement_that_comes_first_waits_for_what_the_old_clock_stamped(bench: Bench) -> None:
    bench.off_s = -90.0
    await bench.probe()
    bench.steps.measured()
    assert bench.told == []
    await asyncio.sleep(0)
    bench.take(new=-90.0, old=-0.4)
    await bench.until(lambda: not bench.steps.is_holding)
    assert bench.told == ["old", -90.0, "new"]


async def test_a_tick_in_which_the_server_still_tells_its_old_time(bench: Bench) -> None:
    bench.take(new=90.0)
    await bench.until(lambda: bench.probes >= 3)
    bench.off_s = 90.0
    await bench.until(lambda: not bench.steps.is_holding)
    assert bench.told == [90.0, "new"]


async def test_odd_times_without_a_step_come_as_they_are_and_are_asked_about_once(bench: Bench) -> None:
    bench.take(stale=-30.0)
    bench.take(next=0.0)
    await bench.until(lambda: not bench.steps.is_holding)
    asked = bench.probes
    bench.take(again=-30.0)
    assert bench.told == ["stale", "next", "again"]
    assert not bench.steps.is_holding
    assert bench.probes == asked


async def test_a_small_move_is_told_at_once(bench: Bench) -> None:
    bench.off_s = 0.6
    for _ in range(2):
        await bench.probe()
        bench.steps.measured()
    assert bench.told == [0.6]
    assert not bench.steps.is_holding


async def test_what_waits_can_be_let_go(bench: Bench) -> None:
    bench.off_s = -90.0
    bench.take(new=-90.0)
    bench.steps.let_go()
    assert bench.told == ["new"]
    assert not bench.steps.is_holding


async def test_where_the_clock_of_the_server_rules_nothing_is_odd() -> None:
    bench = Bench()
    await bench.probe()
    bench.offset.news(force=True)
    bench.take(far=-1e6)
    assert bench.told == ["far"]
