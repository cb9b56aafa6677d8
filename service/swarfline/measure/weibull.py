"""Weibull fit of lives, some of them right-censored, by maximum likelihood; intervals by the likelihood ratio.

    R(t) = exp(−(t ÷ scale)^shape)

Sources: NIST/SEMATECH e-Handbook 8.4.1.3 (likelihood with censoring); likelihood-ratio intervals as in Meeker &
Escobar, Statistical Methods for Reliability Data (from memory).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from math import cos, exp, expm1, fsum, gamma, log, log1p, pi, pow
from typing import NamedTuple

from swarfline.measure.definition import NIST, Definition
from swarfline.measure.distributions import chi_square_cdf
from swarfline.measure.roots import root
from swarfline.measure.survival import Lifetime, Z

LEAST_FAILURES = 5
"""With fewer failures nothing is fitted (common practice, no source)."""

STEEPEST = 1e4
"""A shape beyond this is no spread at all."""

CONTOUR_SHAPES = 49
"""Shapes at which the bound of the likelihood region is taken."""

MOST_EXPONENT = 600.0
"""Powers stop growing here."""

Interval = tuple[float, float]


class Weibull(NamedTuple):
    """A Weibull law of lives; ``scale`` in their unit."""

    shape: float
    scale: float

    def _power(self, used: float) -> float:
        """(used ÷ scale)^shape, kept from overflow where nothing lasts anyway."""
        return exp(min(MOST_EXPONENT, self.shape * log(used / self.scale))) if used > 0 else 0.0

    def survival(self, used: float) -> float:
        """Share that lasts for ``used``."""
        return exp(-self._power(used))

    def hazard(self, used: float) -> float:
        """Failures per unit of life among those that lasted for ``used`` > 0."""
        return self.shape / used * self._power(used)

    def quantile(self, p: float) -> float:
        """Life that the share p does not reach, 0 ≤ p < 1."""
        return self.scale * pow(-log1p(-p), 1 / self.shape)

    @property
    def mean(self) -> float:
        """Mean life."""
        return self.scale * gamma(1 + 1 / self.shape)

    @property
    def end(self) -> float:
        """Life that all but one in 10⁹ do not reach."""
        return self.quantile(1 - 1e-9)

    def used_to(self, used: float) -> float:
        """∫ R from 0 to ``used``: mean life used when every tool is changed there at the latest.

        The mean times the regularised incomplete gamma function P(1 ÷ shape, (used ÷ scale)^shape).
        """
        share = chi_square_cdf(2 * self._power(used), 2 / self.shape)
        return self.mean * share


@dataclass(frozen=True)
class Fit:
    """A fitted law, its log-likelihood, and how many failures and censored lives it is from.

    ``contour``: laws on the bound of the region that the data support at 95 % (likelihood ratio, one degree of
    freedom), from the lowest shape to the highest and for each the lower and the upper scale.
    """

    law: Weibull
    log_likelihood: float
    failures: int
    censored: int
    contour: tuple[Weibull, ...]

    def interval(self, of: Callable[[Weibull], float]) -> Interval:
        """95 % interval of a quantity that follows from the law: its extremes over the region."""
        values = [of(law) for law in self.contour]
        return min(values), max(values)

    @cached_property
    def shape_interval(self) -> Interval:
        """95 % interval of the shape."""
        return self.interval(lambda law: law.shape)

    @cached_property
    def scale_interval(self) -> Interval:
        """95 % interval of the scale."""
        return self.interval(lambda law: law.scale)


def fit(lifetimes: Sequence[Lifetime]) -> Fit | None:
    """The most likely law; None with fewer than ``LEAST_FAILURES`` failures, or where they show no spread.

    Every life must be above 0, or ValueError is raised.
    """
    if any(lifetime.used <= 0 for lifetime in lifetimes):
        raise ValueError("a life of 0 has no place in a Weibull law")
    if sum(lifetime.failed for lifetime in lifetimes) < LEAST_FAILURES:
        return None
    data = _Lives(lifetimes)
    shape = data.most_likely()
    if shape is None:
        return None
    law = Weibull(shape, data.scale(shape))
    found = data.profile(shape) - data.failures * log(data.unit)
    return Fit(law, found, data.failures, len(lifetimes) - data.failures, data.contour(shape))


class _Lives:
    """The likelihood of a sample. Lives are taken in units of the longest, so that no power overflows."""

    def __init__(self, lifetimes: Sequence[Lifetime]) -> None:
        self.unit = max(n.used for n in lifetimes)
        failed = [log(n.used / self.unit) for n in lifetimes if n.failed]
        self.failures = len(failed)
        self._failed_sum = fsum(failed)
        # most censored lives are alike: they ended at the limit
        self._counts = list(Counter(log(n.used / self.unit) for n in lifetimes).items())

    def _power_sum(self, shape: float) -> float:
        """Σ t^shape."""
        return fsum(count * exp(shape * x) for x, count in self._counts)

    def _slope(self, shape: float) -> float:
        """Slope of the profile likelihood ÷ failures; falls as the shape grows."""
        powers = [(x, count * exp(shape * x)) for x, count in self._counts]
        weighted = fsum(x * power for x, power in powers) / fsum(power for _, power in powers)
        return 1 / shape + self._failed_sum / self.failures - weighted

    def most_likely(self) -> float | None:
        """The shape at which the profile likelihood is highest; None where it only grows."""
        high = 1.0
        while self._slope(high) > 0:
            high *= 2
            if high > STEEPEST:
                return None
        low = high / 2
        while self._slope(low) < 0:
            low /= 2
        return root(self._slope, low, high)

    def scale(self, shape: float) -> float:
        """The most likely scale for a shape, in the unit of the lives."""
        return self.unit * pow(self._power_sum(shape) / self.failures, 1 / shape)

    def profile(self, shape: float) -> float:
        """Log-likelihood for a shape and its most likely scale, lives in units of the longest."""
        r = self.failures
        return r * log(shape) - r * log(self._power_sum(shape) / r) + (shape - 1) * self._failed_sum - r

    def contour(self, best: float) -> tuple[Weibull, ...]:
        """The bound of the region in which the log-likelihood lies less than Z² ÷ 2 below its highest."""
        least = self.profile(best) - Z**2 / 2
        low, high = best / 2, best * 2
        while self.profile(low) > least:
            low /= 2
        while self.profile(high) > least:
            high *= 2
        low = root(lambda shape: self.profile(shape) - least, low, best)
        high = root(lambda shape: self.profile(shape) - least, best, high)
        # denser towards the ends, where the bound is steep
        places = [(1 - cos(pi * n / (CONTOUR_SHAPES - 1))) / 2 for n in range(CONTOUR_SHAPES)]
        return tuple(law for p in places for law in self._bounds(low + p * (high - low), least))

    def _bounds(self, shape: float, least: float) -> list[Weibull]:
        """The two scales at which a shape is just supported.

        With w = ln of (most likely scale ÷ scale)^shape the log-likelihood lies failures · (e^w − 1 − w) below its
        highest for the shape.
        """
        depth = max(0.0, (self.profile(shape) - least) / self.failures)
        scale = self.scale(shape)

        def missing(w: float) -> float:
            return expm1(w) - w - depth

        edges = (0.0, 0.0) if depth == 0 else (root(missing, 0, depth + 1.5), root(missing, -depth - 1.5, 0))
        return [Weibull(shape, scale * exp(-w / shape)) for w in edges]


FIGURES = (
    Definition(
        "life_shape",
        "most likely shape of R = exp(−(t ÷ scale)^shape)",
        "1",
        "above 1: wear-out",
        NIST + " 8.4.1.3",
    ),
    Definition("life_scale", "most likely scale of the same", "1, s or m", "37 % last longer", NIST + " 8.4.1.3"),
)
