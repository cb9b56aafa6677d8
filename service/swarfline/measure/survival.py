"""Survival of lives of which some are known only to have lasted so long (right-censored), without a model."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby
from math import exp, log, sqrt
from typing import NamedTuple

from swarfline.measure.distributions import normal_quantile

KAPLAN_MEIER = "Kaplan & Meier 1958"

CONFIDENCE = 0.95
"""Of every interval in the tool history."""

Z = normal_quantile((1 + CONFIDENCE) / 2)


class Lifetime(NamedTuple):
    """A life: what was used, and whether it failed then (False: it would have lasted longer)."""

    used: float
    failed: bool


class SurvivalStep(NamedTuple):
    """Share that lives on after ``used``, and its standard error (Greenwood)."""

    used: float
    share: float
    error: float


def survival_steps(lifetimes: Sequence[Lifetime]) -> list[SurvivalStep]:
    """Product-limit estimate (Kaplan & Meier 1958), a step at each failure; censored ones of the same use live on.

    Standard errors by Greenwood's formula (NIST/SEMATECH e-Handbook 8.2.1.5); 0 where none is left.
    """
    steps: list[SurvivalStep] = []
    share, variance, at_risk = 1.0, 0.0, len(lifetimes)
    for used, same in groupby(sorted(lifetimes), key=lambda n: n.used):
        fates = [n.failed for n in same]
        failed = sum(fates)
        if failed:
            share *= 1 - failed / at_risk
            variance += failed / (at_risk * (at_risk - failed)) if failed < at_risk else 0.0
            steps.append(SurvivalStep(used, share, share * sqrt(variance)))
        at_risk -= len(fates)
    return steps


def survival_to(lifetimes: Sequence[Lifetime], used: float) -> tuple[float, float, float] | None:
    """Share that lasts for ``used``, with its 95 % interval: (share, low, high). Who fails at ``used`` lasted.

    The interval is that of ln(−ln S) (Kalbfleisch & Prentice, from memory). With no failure before, low is the
    share that would have shown one at 95 %: 0.05^(1/n), n lives seen to last so long. None where none was seen so.
    """
    reached = sum(n.used >= used for n in lifetimes)
    if not reached:
        return None
    before = [step for step in survival_steps(lifetimes) if step.used < used]
    if not before:
        return 1.0, (1 - CONFIDENCE) ** (1 / reached), 1.0
    _, share, error = before[-1]
    width = exp(Z * error / (share * abs(log(share))))
    return share, share**width, share ** (1 / width)
