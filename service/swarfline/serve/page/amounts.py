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
ENOUGH_PCT = 95.0
"""Least coverage of two spans whose counts and sums are compared: below it a difference is one of observation."""


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
    digits = _digits(told, TIME)
    if told and not round(told, digits):
        return _("< 0.01 h") if told > 0 else _("> −0.01 h")
    return f"{words.number(told, digits)} h"


def parts(value: float | None) -> str:
    """1 234; below ten with one digit."""
    return words.number(value, 0 if value is None else _digits(value, PARTS))


def money(value: float | None, currency: str | None) -> str:
    """1 234 EUR; below a thousand to the hundredth."""
    if value is None:
        return words.UNKNOWN
    return f"{words.number(value, _digits(value, MONEY))} {currency or ''}".strip()


def _digits(value: float, unit: str) -> int:
    """Digits after the decimal sign that an amount is shown with; ``value`` in h, parts or money."""
    if unit == MONEY:
        return 0 if abs(value) >= _WHOLE_FROM else 2
    return (1 if unit == TIME else 0) + (abs(value) < 10)


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


def difference(now: Amount, then: Amount, unit: str, currency: str | None) -> str:
    """The difference of two amounts as they are shown, so that it is what a reader reckons from the two."""
    mine, other = now.value(unit), then.value(unit)
    if mine is None or other is None:
        return words.UNKNOWN
    pair = [value / 3600 if unit == TIME else value for value in (mine, other)]
    digits = [_digits(value, unit) for value in pair]
    shown = [round(value, n) for value, n in zip(pair, digits, strict=True)]
    sign = {TIME: " h", MONEY: f" {currency or ''}".rstrip()}.get(unit, "")
    # nothing needs no digits
    most = max((n for value, n in zip(pair, digits, strict=True) if value), default=digits[0])
    return change(words.number(shown[0] - shown[1], most) + sign)


def points_apart(now: float, then: float) -> str:
    """+3.2: the difference of two ratios in hundredths, of the two as they are shown (words.percent)."""
    return change(words.number(round(now * 100, 1) - round(then * 100, 1), 1))


def points(now: float | None, then: float | None) -> str:
    """+3.2 points: the difference of two ratios."""
    return words.UNKNOWN if now is None or then is None else _("%s points") % points_apart(now, then)


def comparable(now_pct: float | None, then_pct: float | None) -> bool:
    """Whether counts and sums of two spans may be compared, by the coverage of each; None: nothing planned."""
    return all(pct is None or pct >= ENOUGH_PCT for pct in (now_pct, then_pct))


def no_difference() -> str:
    """Why counts and sums of two spans are not compared."""
    least = words.percent(ENOUGH_PCT / 100, 0)
    return _("no difference: less than %(least)s of one of the two was observed") % {"least": least}


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
