"""Made-up machines that cycle, wait and stop at random, with a tool in each: what was seen, and what came true."""

from __future__ import annotations

from dataclasses import dataclass
from math import log
from random import Random

from swarfline.calendar import Interval, intersect
from swarfline.facts import Cycle, ToolLife

from .timelines import HOUR, SECOND, cycle, use

DAY = 24 * HOUR
SHIFT = (6 * HOUR, 14 * HOUR)


@dataclass(frozen=True)
class Setting:
    """How a machine behaves. Stops are (chance per cycle, median in s, sigma of the logarithm)."""

    cycle_s: float = 170.0
    stops: tuple[tuple[float, float, float], ...] = ()
    share_using: float = 1.0
    life: tuple[float, float] = (8.4, 1.2)
    cycles_ahead: tuple[int, int] = (20, 150)
    history: int = 200


@dataclass(frozen=True)
class History:
    """What is known at ``now_us``, and the truth: whole cycles that the life is good for, the last one's end."""

    cycles: list[Cycle]
    life: ToolLife
    planned: list[Interval]
    now_us: int
    cycles_left: int
    limit_at_us: int


def planned(start: int, end: int) -> list[Interval]:
    """One shift each day."""
    days = range(start // DAY, end // DAY + 1)
    return intersect([(d * DAY + SHIFT[0], d * DAY + SHIFT[1]) for d in days], [(start, end)])


def clock(work_us: float) -> int:
    """The moment at which so much time has been worked since the first day's midnight."""
    days, rest = divmod(round(work_us), SHIFT[1] - SHIFT[0])
    return days * DAY + SHIFT[0] + rest


def history(name: str, setting: Setting, seed: int) -> History:
    """One machine up to a moment within a cycle or after it, and on until its tool would pass its limit."""
    rng = Random(f"{name}/{seed}")
    remaining = (
        rng.randint(*setting.cycles_ahead) * setting.life[0] * setting.share_using * rng.uniform(0.98, 1.02)
    )
    work, cycles = 0.0, []
    for _ in range(setting.history):
        length, gap = _length(rng, setting)
        cycles.append(_cycle(work, length, _used(rng, setting)))
        work += length + gap
    length, gap = _length(rng, setting)
    used, place_of_tool = _used(rng, setting), rng.random()
    now = work + rng.random() * (length + gap)
    if now >= work + length:
        cycles.append(_cycle(work, length, used))
    count, end, spent = 0, now, 0.0
    if now >= work + place_of_tool * length:  # the life of the running cycle's tool is told already
        work += length + gap
        length, gap = _length(rng, setting)
        used = _used(rng, setting)
    while spent + used <= remaining:
        count, end, spent = count + 1, work + length, spent + used
        work += length + gap
        length, gap = _length(rng, setting)
        used = _used(rng, setting)
    now_us = clock(now)
    life = ToolLife("N1", "P7", 0, now_us, "7", basis="time", used=1000.0, limit=1000.0 + remaining, open=True)
    return History(cycles, life, planned(0, now_us + 70 * DAY), now_us, count, max(clock(end), now_us))


def _length(rng: Random, setting: Setting) -> tuple[float, float]:
    """Worked µs of a cycle, and of the wait or stop after it."""
    gap = rng.uniform(7.0, 16.0)
    for chance, median, sigma in setting.stops:
        if rng.random() < chance:
            gap += rng.lognormvariate(log(median), sigma)
    return rng.gauss(setting.cycle_s, 0.01 * setting.cycle_s) * SECOND, gap * SECOND


def _used(rng: Random, setting: Setting) -> float:
    return max(0.0, rng.gauss(*setting.life)) if rng.random() < setting.share_using else 0.0


def _cycle(work: float, length: float, used: float) -> Cycle:
    start, end = clock(work), clock(work + length)
    return cycle(start, end - start, tools=(use("7", used),))
