"""Losses as amounts: of time, of parts, of money; how they and their names are written."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction

from swarfline.measure.losses import GOOD_PARTS, HOUR_US, LONG, SCRAP_PARTS, SHORT, SLOW_RUNNING, STOP_LOSS
from swarfline.measure.oee import HINT_BY_COUNT, HINT_LATE, HINT_NO_PLAN, HINT_TOO_LONG, OeeSums
from swarfline.serve.losses import LossRow
from swarfline.serve.oee import OeeFigures
from swarfline.serve.page import words
from swarfline.serve.tongue import gettext as _

TIME, PARTS, MONEY = "time", "parts", "money"
UNITS = (TIME, PARTS, MONEY)
_WHOLE_FROM = 1000


@dataclass(frozen=True, slots=True)
class Amount:
    """A time in s, the parts it would have made, and what it was worth; None: not known."""

    time_s: float | None = None
    parts: float | None = None
    money: float | None = None

    @classmethod
    def of(cls, rows: Iterable[LossRow]) -> Amount:
        """The sum of rows; parts and money are not known where any time in it has none."""
        real = [row for row in rows if row.time_s]
        return cls(
            sum(row.time_s for row in real), _sum(row.parts for row in real), _sum(row.money for row in real)
        )

    @classmethod
    def lost(cls, sums: OeeSums, hourly_rate: Fraction | None) -> Amount:
        """One machine's planned and observed time less its good parts at their planned time, without parts."""
        if sums.unplanned or not (sums.coverage or sums.planned_busy_us):
            return cls()
        time_us = sums.planned_busy_us - sums.planned_good_us
        money = None if hourly_rate is None else float(time_us / HOUR_US * hourly_rate)
        return cls(float(time_us / 1_000_000), None, money)

    def value(self, unit: str) -> float | None:
        """The amount in one of UNITS."""
        return {TIME: self.time_s, PARTS: self.parts, MONEY: self.money}[unit]

    def __add__(self, other: Amount) -> Amount:
        return Amount(*(_sum((self.value(unit), other.value(unit))) for unit in UNITS))

    def __sub__(self, other: Amount) -> Amount:
        return self + Amount(*(None if (v := other.value(unit)) is None else -v for unit in UNITS))


def _sum(values: Iterable[float | None]) -> float | None:
    total = 0.0
    for value in values:
        if value is None:
            return None
        total += value
    return total


def hours(value_s: float | None) -> str:
    """12.4 h, below ten hours 3.25 h; what is not nothing never looks so."""
    if value_s is None:
        return words.UNKNOWN
    told = value_s / 3600
    digits = 2 if abs(told) < 10 else 1
    if told and not round(told, digits):
        return _("< 0.01 h") if told > 0 else _("> −0.01 h")
    return f"{words.number(told, digits)} h"


def parts(value: float | None) -> str:
    """1 234; below ten with one digit."""
    return words.number(value, 1 if value is not None and abs(value) < 10 else 0)


def money(value: float | None, currency: str | None) -> str:
    """1 234 EUR; below a thousand to the hundredth."""
    if value is None:
        return words.UNKNOWN
    return f"{words.number(value, 0 if abs(value) >= _WHOLE_FROM else 2)} {currency or ''}".strip()


def written(amount: Amount, unit: str, currency: str | None) -> str:
    """An amount in one of UNITS, with its unit."""
    if unit == TIME:
        return hours(amount.time_s)
    return money(amount.money, currency) if unit == MONEY else parts(amount.parts)


def change(text: str) -> str:
    """A difference with its sign; what shows as nothing has none."""
    told = text.removeprefix("−")
    if not any(digit in told for digit in "123456789"):
        return told
    return text if text.startswith(("−", ">")) else f"+{text}"


def points(now: float | None, then: float | None) -> str:
    """+3.2 points: the difference of two ratios, in hundredths."""
    if now is None or then is None:
        return words.UNKNOWN
    return _("%s points") % change(words.number((now - then) * 100, 1))


def loss_words(name: str, length: str = "", reason: str | None = None) -> str:
    """What a loss is called."""
    told = {
        SLOW_RUNNING: _("slower than planned"),
        SCRAP_PARTS: _("scrap"),
        GOOD_PARTS: _("good parts"),
        "producing": _("producing, not told apart"),
    }
    if name == STOP_LOSS:
        return reason or _("no reason known")
    found = told.get(name) or words.condition(name)
    return f"{found}, {length_words(length)}" if length else found


def length_words(length: str) -> str:
    """Short or long stops in words."""
    return {SHORT: _("short stops"), LONG: _("long stops")}.get(length, "")


def hints(figures: OeeFigures) -> list[str]:
    """What has to be known about figures, each once."""
    told = {
        HINT_TOO_LONG: _("Above 100 %: the planned time is too long."),
        HINT_NO_PLAN: _("A part has neither a planned time nor complete cycles to take one from."),
        HINT_BY_COUNT: _("Quality is told by count, not weighted by planned time: a planned time is missing."),
        HINT_LATE: _("More scrap was told than parts were made: parts from before were judged here."),
    }
    each = (figures.oee, figures.availability, figures.effectiveness, figures.quality_ratio)
    found = dict.fromkeys(told.get(f.hint, f.hint) for f in each if f.hint)
    return [*found, *([_("Measured times stand in for planned ones.")] if any(f.estimate for f in each) else [])]
