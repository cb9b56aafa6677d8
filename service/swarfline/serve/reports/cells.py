"""Cells of a report, each with its text, its value and its unit."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from swarfline.calendar import from_us
from swarfline.report import Cell, Segment
from swarfline.serve.page import amounts, words
from swarfline.serve.room import Room
from swarfline.serve.shapes import FigureShape
from swarfline.serve.tongue import gettext as _

LONGEST = 120
"""Characters of a text that came from a machine or a person; what is longer is cut, with a sign."""


def text(said: str | None, note: str = "", most: int = LONGEST) -> Cell:
    """A text of at most so many characters; empty ones are not known."""
    # the thin space that parts thousands is none of Python's printable characters
    plain = "".join(c if c.isprintable() or c == "\u202f" else " " for c in said or "").strip()
    cut = plain if len(plain) <= most else plain[: most - 1] + "…"
    return Cell(cut or words.UNKNOWN, cut or None, note=note)


def blank() -> Cell:
    """Nothing belongs here."""
    return Cell("")


def count(number: float | None, digits: int = 0) -> Cell:
    """A number of things."""
    return Cell(words.number(number, digits), number, "1")


def percent(value_pct: float | None, coverage_pct: float | None = None, note: str = "") -> Cell:
    """A share in %."""
    shown = words.percent(None if value_pct is None else value_pct / 100)
    return Cell(shown, value_pct, "%", coverage_pct, note)


def share(value_pct: float | None) -> Cell:
    """A share of a whole, as coverage is; what is not whole never looks so."""
    return Cell(words.share(None if value_pct is None else value_pct / 100), value_pct, "%")


def ratio(figure: FigureShape, note: bool = False) -> Cell:
    """A figure that is a ratio, as percent; with its coverage as a ``note`` where it is not whole."""
    value = None if figure.value is None else figure.value * 100
    return percent(value, figure.coverage_pct, covered(figure.coverage_pct) if note else "")


def points(now: FigureShape, then: FigureShape | None) -> Cell:
    """The difference of two ratios in percentage points: shown of the ratios as shown, exact for programs."""
    if now.value is None or then is None or then.value is None:
        return Cell(words.UNKNOWN, None, "%")
    shown = amounts.points_apart(now.value, then.value)
    return Cell(shown, (now.value - then.value) * 100, "%", least(now.coverage_pct, then.coverage_pct))


def least(*coverages_pct: float | None) -> float | None:
    """The coverage of what is made of several spans: that of the one which was observed least."""
    return min((pct for pct in coverages_pct if pct is not None), default=None)


def signed(value: float) -> str:
    """+2, −2 or 0"""
    return amounts.change(words.number(value))


def hours(seconds: float | None, coverage_pct: float | None = None) -> Cell:
    """A length in h for people, in s for programs."""
    return Cell(amounts.hours(seconds), seconds, "s", coverage_pct)


def length(seconds: float | None, note: str = "") -> Cell:
    """A length in hours and minutes for people, in s for programs."""
    return Cell(words.length(None if seconds is None else seconds * 1_000_000), seconds, "s", note=note)


def money(amount: float | None, currency: str | None) -> Cell:
    """An amount in the plant's currency (ISO 4217)."""
    return Cell(amounts.money(amount, currency), amount, currency or "")


def quantity(value: float | None, unit: str, digits: int = 1, coverage_pct: float | None = None) -> Cell:
    """A quantity with its unit."""
    shown = words.UNKNOWN if value is None else f"{words.number(value, digits)} {unit}"
    return Cell(shown, value, unit, coverage_pct)


def moment(us: int | None, room: Room, near_us: int) -> Cell:
    """A time of day, with its day where that is not the one of ``near_us``; RFC 3339 for programs."""
    if us is None:
        return Cell(words.UNKNOWN)
    told: datetime = from_us(us, room.zone)
    return Cell(words.clock(us, room.zone, near_us), told.isoformat(timespec="seconds"))


def bar(segments: Iterable[Segment]) -> Cell:
    """A bar; pieces of no length are left out."""
    return Cell("", bar=tuple(s for s in segments if s.start < s.end))


def covered(coverage_pct: float | None) -> str:
    """How much was observed, in words; empty where all of it was."""
    if coverage_pct is None:
        return _("nothing planned")
    return words.observed(coverage_pct) if coverage_pct < 100 else ""
