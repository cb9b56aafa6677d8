"""Sentences: a text with places for values, so that pages can say the same in other languages."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from string import Formatter
from typing import TypeAlias


def N_(text: str) -> str:  # noqa: N802
    """Marks a text that pages translate when they say it (the name is gettext's convention)."""
    return text


def plainly(value: float, digits: int) -> str:
    """A number as the API and the command line write it."""
    return f"{value:.{digits}f}"


@dataclass(frozen=True, slots=True)
class Tongue:
    """How one language says a text, and writes a number with so many decimals."""

    translate: Callable[[str], str] = N_
    number: Callable[[float, int], str] = plainly


ENGLISH = Tongue()


@dataclass(frozen=True, slots=True)
class Sentence:
    """``text`` is English, with places as of ``str.format``: {count}, {index:.2f} with so many decimals, or
    {share:.3g} with so many digits that count.

    ``values`` fill the places: a number, a text that no language changes, a sentence; several sentences in one
    place are listed with commas.
    """

    text: str
    values: Mapping[str, Value] = field(default_factory=dict)

    def told(self, translate: Callable[[str], str] = N_, number: Callable[[float, int], str] = plainly) -> str:
        """The sentence as it is said, in English unless told otherwise; KeyError for a place without value."""
        said = []
        for words, place, form, _conversion in Formatter().parse(translate(self.text)):
            said.append(words)
            if place is not None:
                said.append(_filled(self.values[place], form or "", translate, number))
        return "".join(said)


Value: TypeAlias = "float | int | str | Sentence | tuple[Sentence, ...]"
"""What may fill a place."""


def _filled(value: Value, form: str, translate: Callable[[str], str], number: Callable[[float, int], str]) -> str:
    if isinstance(value, Sentence):
        return value.told(translate, number)
    if isinstance(value, tuple):
        return ", ".join(one.told(translate, number) for one in value)
    if isinstance(value, str):
        return value
    if form.endswith("g"):
        return number(*_significant(value, form))
    return number(value, int(form[1:-1]) if form else 0)


def _significant(value: float, form: str) -> tuple[float, int]:
    """A number cut to the digits that count, and how many decimals that leaves."""
    rounded = Decimal(f"{value:{form}}")
    exponent = rounded.as_tuple().exponent
    return float(rounded), max(0, -exponent) if isinstance(exponent, int) else 0
