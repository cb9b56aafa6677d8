"""Distributions that intervals are made of: normal, beta, t, chi-square and noncentral t, in pure Python.

Probabilities are those of values up to x. Everything is checked against an independent library to 1e-9 for degrees
of freedom up to 10 000. Arguments outside their range raise ValueError.
"""

from __future__ import annotations

from collections.abc import Callable
from math import erfc, exp, inf, lgamma, log, log1p, pi, sqrt
from statistics import NormalDist

_TINY = 1e-300
_EPSILON = 1e-16
_MOST_TERMS = 100_000

_FINEST = 1000
"""Steps per standard deviation of ln U at most; fine enough while |t| stays below 350 √df."""

_NORMAL = NormalDist()


def normal_cdf(x: float) -> float:
    """Standard normal, exact in the tails too."""
    return erfc(-x / sqrt(2)) / 2


def normal_quantile(p: float) -> float:
    """The x below which a standard normal value lies with probability p, 0 < p < 1."""
    _check_probability(p)
    return _NORMAL.inv_cdf(p)


def beta_cdf(x: float, a: float, b: float) -> float:
    """Regularised incomplete beta function I_x(a, b), for a, b > 0; continued fraction (DLMF 8.17.22)."""
    _check_positive(a, b)
    if x <= 0:
        return 0.0
    if x >= 1:
        return 1.0
    return _beta_cdf(x, 1 - x, a, b)


def _beta_cdf(x: float, rest: float, a: float, b: float) -> float:
    """I_x(a, b) with ``rest`` = 1 − x, which a caller may know without cancellation."""
    front = exp(lgamma(a + b) - lgamma(a) - lgamma(b) + a * log(x) + b * log(rest))
    if x < (a + 1) / (a + b + 2):
        return front * _beta_fraction(x, a, b) / a
    return 1 - front * _beta_fraction(rest, b, a) / b


def _beta_fraction(x: float, a: float, b: float) -> float:
    def numerator(term: int) -> float:
        m = term // 2
        if term % 2:
            return -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1))
        return m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m))

    return 1 / _continued(numerator, lambda _: 1.0, 1.0)


def _continued(numerator: Callable[[int], float], denominator: Callable[[int], float], first: float) -> float:
    """first + n1/(d1 + n2/(d2 + …)), evaluated forwards (modified Lentz method)."""
    value = above = first or _TINY
    below = 0.0
    for term in range(1, _MOST_TERMS):
        n, d = numerator(term), denominator(term)
        below = 1 / ((d + n * below) or _TINY)
        above = (d + n / above) or _TINY
        value *= above * below
        if abs(above * below - 1) < _EPSILON * 4:
            return value
    raise ArithmeticError("a continued fraction did not settle")


def beta_quantile(p: float, a: float, b: float) -> float:
    """The x in (0, 1) at which ``beta_cdf`` is p, 0 < p < 1."""
    _check_probability(p)
    _check_positive(a, b)
    scale = lgamma(a + b) - lgamma(a) - lgamma(b)

    def density(x: float) -> float:
        return exp(scale + (a - 1) * log(x) + (b - 1) * log1p(-x))

    return _invert(lambda x: beta_cdf(x, a, b), density, p, 0.0, 1.0)


def t_cdf(x: float, df: float) -> float:
    """Student's t with ``df`` > 0 degrees of freedom, which need not be whole."""
    _check_positive(df)
    square = x * x
    if square == 0:
        return 0.5
    inside, outside = square / (df + square), df / (df + square)
    if square < df:
        middle = _beta_cdf(inside, outside, 0.5, df / 2) / 2
        return 0.5 + middle if x > 0 else 0.5 - middle
    tail = _beta_cdf(outside, inside, df / 2, 0.5) / 2 if outside > 0 else 0.0
    return 1 - tail if x > 0 else tail


def t_quantile(p: float, df: float) -> float:
    """The x at which ``t_cdf`` is p, 0 < p < 1."""
    _check_probability(p)
    _check_positive(df)
    if p == 0.5:
        return 0.0
    if p > 0.5:
        return -t_quantile(1 - p, df)
    scale = lgamma((df + 1) / 2) - lgamma(df / 2) - log(df * pi) / 2

    def density(x: float) -> float:
        return exp(scale - (df + 1) / 2 * log1p(x * x / df))

    low = -1.0
    while t_cdf(low, df) > p:
        low *= 2
    return _invert(lambda x: t_cdf(x, df), density, p, low, 0.0)


def chi_square_cdf(x: float, df: float) -> float:
    """Chi-square with ``df`` > 0: the regularised incomplete gamma function P(df/2, x/2) (DLMF 8.11.4, 8.9.2)."""
    _check_positive(df)
    if x <= 0:
        return 0.0
    a, half = df / 2, x / 2
    front = exp(a * log(half) - half - lgamma(a))
    if half < a + 1:
        return front * _gamma_series(a, half)
    return 1 - front / _continued(lambda k: -k * (k - a), lambda k: half + 2 * k + 1 - a, half + 1 - a)


def _gamma_series(a: float, x: float) -> float:
    term = total = 1 / a
    k = a
    while term > total * _EPSILON:
        k += 1
        term *= x / k
        total += term
    return total


def chi_square_quantile(p: float, df: float) -> float:
    """The x at which ``chi_square_cdf`` is p, 0 < p < 1."""
    _check_probability(p)
    _check_positive(df)
    a = df / 2

    def density(x: float) -> float:
        return exp((a - 1) * log(x / 2) - x / 2 - lgamma(a)) / 2

    high = df + 1
    while chi_square_cdf(high, df) < p:
        high *= 2
    return _invert(lambda x: chi_square_cdf(x, df), density, p, 0.0, high)


class NoncentralT:
    """P(T ≤ t) of a noncentral t with ``df`` degrees of freedom, for one t and any noncentrality.

    T = (Z + noncentrality) ÷ U with U² = chi-square ÷ df, so P = E Φ(t·U − noncentrality). The mean over ln U is
    taken by the trapezoidal rule, whose error vanishes faster than any power of the step for such integrands.
    """

    def __init__(self, t: float, df: float) -> None:
        _check_positive(df)
        width = 1 / sqrt(2 * df)
        step = max(min(width, 1 / max(1.0, abs(t))) / 4, width / _FINEST)
        scale = log(2) + df / 2 * log(df / 2) - lgamma(df / 2)
        low, high = -9 * width - 40 / df, 9 * width
        self._points: list[tuple[float, float]] = []
        for place in range(round(low / step), round(high / step) + 1):
            y = place * step
            self._points.append((t * exp(y), step * exp(scale + df * (y - exp(2 * y) / 2))))
        self._t = t
        self._df = df

    def cdf(self, noncentrality: float) -> float:
        """The probability."""
        shifted = ((x - noncentrality, weight) for x, weight in self._points)
        return sum(weight * normal_cdf(x) for x, weight in shifted)

    def noncentrality(self, p: float) -> float:
        """The noncentrality at which T ≤ t has probability p, 0 < p < 1."""
        _check_probability(p)
        reach = 1 + 2 * abs(normal_quantile(p)) * sqrt(1 + self._t * self._t / self._df)
        low, high = self._t - reach, self._t + reach
        while self.cdf(low) < p:
            low -= reach
        while self.cdf(high) > p:
            high += reach
        return -_invert(lambda x: self.cdf(-x), self._density, p, -high, -low)

    def _density(self, minus: float) -> float:
        found = sum(weight * exp(-((x + minus) ** 2) / 2) for x, weight in self._points)
        return found / sqrt(2 * pi)


def _invert(
    cdf: Callable[[float], float], density: Callable[[float], float], p: float, low: float, high: float
) -> float:
    """Where in [low, high] a rising ``cdf`` is p: Newton's steps, halving where they leave the bracket."""
    x = (low + high) / 2
    before = inf
    for _ in range(2000):
        miss = cdf(x) - p
        if miss == 0:
            return x
        low, high = (low, x) if miss > 0 else (x, high)
        slope = density(x)
        newton = x - miss / slope if slope > 0 else inf
        # where Newton's steps do not shrink, halving is surer
        following = newton if low < newton < high and abs(newton - x) < before / 2 else (low + high) / 2
        before = abs(following - x)
        if before <= abs(following) * 4e-16 or following in (low, high):
            return following
        x = following
    return x


def _check_probability(p: float) -> None:
    if not 0 < p < 1:
        raise ValueError(f"{p} is no probability between 0 and 1")


def _check_positive(*values: float) -> None:
    if not all(0 < v < inf for v in values):
        raise ValueError(f"{values}: parameters of a distribution are above 0")
