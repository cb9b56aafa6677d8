"""Shapes that answers share: the base model, the envelope of a list, the figure."""

from __future__ import annotations

from fractions import Fraction
from typing import Generic, TypeVar

from pydantic import BaseModel, ConfigDict, Field

from swarfline.figures import Exact, Figure
from swarfline.serve.room import Room
from swarfline.serve.spans import Asked
from swarfline.serve.times import show


class Shape(BaseModel):
    """Base of every answer: what is not described is not sent."""

    model_config = ConfigDict(extra="forbid", populate_by_name=True)


Row = TypeVar("Row", bound=Shape)


class FigureShape(Shape):
    """numerator ÷ denominator, or a plain quantity when there is no denominator. null is: not known."""

    value: float | None
    numerator: float | None
    denominator: float | None = Field(description="null for a plain quantity")
    unit: str = Field(description="unit of the value; 1 for a ratio or a number of things")
    terms_unit: str = Field(description="unit of numerator and denominator")
    coverage_pct: float | None = Field(description="observed share of the time asked about")
    estimate: bool = Field(description="something measured stands in for something planned")
    hint: str = ""


def percent(ratio: Fraction | float | None) -> float | None:
    """A ratio as percent; None stays None."""
    return None if ratio is None else float(ratio * 100)


def figure(found: Figure, terms_unit: str = "1", scale: int = 1) -> FigureShape:
    """A Figure as sent; its terms are divided by ``scale`` (1 000 000 brings µs to ``terms_unit`` s)."""
    return FigureShape(
        value=found.value,
        numerator=_term(found.numerator, scale),
        denominator=_term(found.denominator, scale),
        unit=found.unit,
        terms_unit=terms_unit,
        coverage_pct=percent(found.coverage),
        estimate=found.estimate,
        hint=found.hint,
    )


def _term(term: Exact | None, scale: int) -> float | None:
    return None if term is None else float(term / scale)


class SpanShape(Shape):
    """The span an answer is about."""

    from_: str = Field(alias="from", description="start, RFC 3339 with the plant's offset")
    to: str = Field(description="end, not included; never ahead of the plant's present")
    time_zone: str = Field(description="IANA time zone of the plant")


class Facts(SpanShape, Generic[Row]):
    """Facts of a span, in time order. ``next`` leads to the following ones, null: that was all."""

    items: list[Row]
    next: str | None = None


class Figures(SpanShape, Generic[Row]):
    """Figures of a span. ``coverage_pct`` is the observed share of the planned time of all of them together."""

    coverage_pct: float | None
    items: list[Row]


class Listing(Shape, Generic[Row]):
    """A plain list."""

    items: list[Row]


def span_fields(room: Room, asked: Asked) -> dict[str, str]:
    """The members of SpanShape."""
    return {
        "from": show(asked.start_us, room.zone),
        "to": show(asked.end_us, room.zone),
        "time_zone": str(room.zone),
    }
