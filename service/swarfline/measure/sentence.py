"""Sentences about figures: a text with places for values, so that pages can say the same in other languages."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from string import Formatter


def N_(text: str) -> str:  # noqa: N802
    """Marks a text that pages translate when they say it (the name is gettext's convention)."""
    return text


def plainly(value: float, digits: int) -> str:
    """A number as the API and the command line write it."""
    return f"{value:.{digits}f}"


@dataclass(frozen=True, slots=True)
class Sentence:
    """``text`` is English, with places as of ``str.format``: {count}, or {index:.2f} with so many decimals.

    ``values`` fill the places; several sentences in one place are listed with commas.
    """

    text: str
    values: Mapping[str, float | int | str | tuple[Sentence, ...]] = field(default_factory=dict)

    def told(self, translate: Callable[[str], str] = N_, number: Callable[[float, int], str] = plainly) -> str:
        """The sentence as it is said, in English unless told otherwise; KeyError for a place without value."""
        said = []
        for words, place, form, _conversion in Formatter().parse(translate(self.text)):
            said.append(words)
            if place is not None:
                said.append(_filled(self.values[place], form or "", translate, number))
        return "".join(said)


def _filled(
    value: float | int | str | tuple[Sentence, ...],
    form: str,
    translate: Callable[[str], str],
    number: Callable[[float, int], str],
) -> str:
    if isinstance(value, tuple):
        return ", ".join(one.told(translate, number) for one in value)
    if isinstance(value, str):
        return value
    if form == "g":
        return number(value, len(f"{value:g}".partition(".")[2]))
    return number(value, int(form[1:-1]) if form else 0)
