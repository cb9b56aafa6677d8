"""The Figure: what it means. A ratio that carries its numerator, denominator, unit and coverage."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

Exact = int | float | Fraction


@dataclass(frozen=True, slots=True)
class Figure:
    """numerator ÷ denominator, or a plain quantity when the denominator is None.

    ``value`` is None when it cannot be told (nothing to divide by, nothing observed): unknown, never zero.
    ``coverage`` is the observed share (0–1) of the time asked about, None when no time was asked about.
    ``estimate`` marks figures in which something measured stands in for something planned.
    """

    name: str
    numerator: Exact | None
    denominator: Exact | None = None
    unit: str = "1"
    coverage: Fraction | None = None
    estimate: bool = False
    hint: str = ""

    @property
    def exact(self) -> Exact | None:
        """The value with nothing rounded away, or None."""
        if self.numerator is None:
            return None
        if self.denominator is None:
            return self.numerator
        if self.denominator == 0:
            return None
        if isinstance(self.numerator, float) or isinstance(self.denominator, float):
            return self.numerator / self.denominator
        return Fraction(self.numerator) / Fraction(self.denominator)

    @property
    def value(self) -> float | None:
        """The value as the nearest float, or None."""
        exact = self.exact
        return None if exact is None else float(exact)


def share(part: int, whole: int) -> Fraction | None:
    """part ÷ whole, None when the whole is nothing."""
    return Fraction(part, whole) if whole else None
