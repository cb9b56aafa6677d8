"""How often what is said of tools is right: intervals of the Weibull fit, and signs of a rising load.

    python tests/benchmarks/tool_life_rates.py [--samples 600] [--lives 400]

Lives are invented with a known truth. Printed are shares, in %: of 95 % intervals that hold the truth, and of
lives in which a sign was seen at any of 19 looks. docs/figures.md quotes them.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from random import Random
from statistics import median

from swarfline.measure.loads import RISING, Load, load_trend
from swarfline.measure.replacement import best_interval
from swarfline.measure.survival import Lifetime
from swarfline.measure.weibull import Weibull, fit

CYCLES, STEP = 300, 15
COSTS = (1.0, 6.0)


def intervals(shape: float, lives: int, cut: float, samples: int) -> str:
    """Share of intervals that hold the true shape, scale (1) and replacement interval."""
    rng, law = Random(1), Weibull(shape, 1.0)
    best = best_interval(law, *COSTS)
    drawn = ([rng.weibullvariate(1.0, shape) for _ in range(lives)] for _ in range(samples))
    fits = [found for used in drawn if (found := fit([Lifetime(min(u, cut), u < cut) for u in used]))]
    held = [0, 0, 0]
    for found in fits:
        replaced = found.interval(lambda one: best_interval(one, *COSTS))
        pairs = ((found.shape_interval, shape), (found.scale_interval, 1.0), (replaced, best))
        for n, ((low, high), true) in enumerate(pairs):
            held[n] += low <= true <= high
    shares = ", ".join(f"{100 * n / len(fits):.1f}" for n in held)
    middle = median(found.law.shape for found in fits)
    return f"{len(fits)} fits: shape, scale, replacement interval {shares}; median shape {middle:.2f}"


def life(rng: Random, growth: float, noise: float, alike: float) -> list[Load]:
    """Loads of one life; tools differ by 5 % in level, the noise of neighbours is ``alike``."""
    level, off, loads = 30 * (1 + 0.05 * rng.gauss(0, 1)), 0.0, []
    for n in range(CYCLES):
        share = n / CYCLES
        off = alike * off + noise * (1 - alike**2) ** 0.5 * rng.gauss(0, 1)
        mean = level * (1 + growth * share) * (1 + off)
        loads.append(Load(share, mean, 2 * mean))
    return loads


def first_sign(present: Sequence[Load], earlier: Sequence[Sequence[Load]]) -> float | None:
    """Share of life at which a sign was first seen."""
    looks = range(30, CYCLES + 1, STEP)
    return next((n / CYCLES for n in looks if load_trend(present[:n], earlier).sign == RISING), None)


def signs(lives: int, noise: float, alike: float, more: float = 0.0, spread: float = 0.0, earlier: int = 3) -> str:
    """Share of lives with a sign, whose load grows by ``more`` than the 25 % (± ``spread``) of earlier ones."""
    rng, seen = Random(1), []
    for _ in range(lives):
        before = [life(rng, 0.25 + spread * rng.gauss(0, 1), noise, alike) for _ in range(earlier)]
        present = life(rng, 0.25 + spread * rng.gauss(0, 1) + more, noise, alike)
        at = first_sign(present, before)
        seen += [] if at is None else [at]
    return f"{100 * len(seen) / lives:.1f}" + (f", half of them by {median(seen):.2f} of life" if seen else "")


def main() -> None:
    """Print every rate."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--samples", type=int, default=600)
    parser.add_argument("--lives", type=int, default=400)
    asked = parser.parse_args()
    for shape, lives, cut in ((3, 10, 9), (3, 30, 0.7), (3, 30, 0.9), (3, 100, 0.7), (1.5, 30, 0.7)):
        print(f"shape {shape}, {lives} lives cut at {cut}: {intervals(shape, lives, cut, asked.samples)}")
    for noise, alike in ((0.05, 0.0), (0.1, 0.0), (0.1, 0.8), (0.2, 0.8)):
        print(f"no trend, noise {noise}, alike {alike}: {signs(asked.lives, noise, alike)}")
    for alike in (0.0, 0.8):
        print(f"first tenth, noise 0.1, alike {alike}: {signs(asked.lives, 0.1, alike, earlier=0)}")
    print(f"growth differs by 0.1, noise 0.05: {signs(asked.lives, 0.05, 0.0, spread=0.1)}")
    for more in (0.3, 0.5, 0.8):
        print(f"growth of {more} more, noise 0.1: {signs(asked.lives, 0.1, 0.0, more)}")


if __name__ == "__main__":
    main()
