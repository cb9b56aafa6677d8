"""Overall equipment effectiveness after ISO 22400-2, as sums over sums.

OEE = Σ planned run time of good items ÷ planned busy time; the product of its three factors is the same number,
to the last digit, for whatever machines, parts and spans were added up.
"""

from __future__ import annotations

from dataclasses import astuple, dataclass, replace
from fractions import Fraction

from swarfline.figures import Figure, share
from swarfline.measure.definition import ISO, OURS, Definition
from swarfline.measure.elements import TimeElements
from swarfline.measure.production import Production

HINT_TOO_LONG = "Above 100 %: the planned time is too long."
HINT_NO_PLAN = "A part has neither a planned time nor complete cycles to take one from."
HINT_BY_COUNT = "By count, not weighted by planned time: a planned time is missing."
HINT_LATE = "More scrap was told than parts were made: parts from before were judged here."


@dataclass(frozen=True, slots=True)
class OeeSums:
    """The sums from which OEE follows; times in µs, planned run times exact. Disjoint sums add with ``+``.

    ``produced`` to ``unjudged`` and ``rework`` are all parts; those counted ``across_gap`` (``scrap_across_gap``
    of them scrap) do not enter the ratios.
    """

    planned_us: int = 0
    observed_us: int = 0
    planned_busy_us: int = 0
    production_us: int = 0
    producing_outside_us: int = 0
    planned_produced_us: Fraction = Fraction(0)
    planned_good_us: Fraction = Fraction(0)
    produced: int = 0
    good: int = 0
    scrap: int = 0
    unjudged: int = 0
    across_gap: int = 0
    scrap_across_gap: int = 0
    unplanned: int = 0
    rework: int = 0
    estimate: bool = False

    @classmethod
    def of(cls, elements: TimeElements, production: Production) -> OeeSums:
        """The sums of one machine and span, both for the same span."""
        made = production.all_parts
        return cls(
            elements.planned_us,
            elements.observed_us,
            elements.planned_busy_us,
            elements.production_us,
            elements.producing_outside_us,
            production.planned_produced_us,
            production.planned_good_us,
            made.total,
            made.good,
            made.scrap,
            made.unjudged,
            made.gap_total,
            made.gap_scrap,
            production.unplanned,
            made.rework,
            production.estimate,
        )

    def __add__(self, other: OeeSums) -> OeeSums:
        pairs = zip(astuple(self)[:-1], astuple(other)[:-1], strict=True)
        return replace(OeeSums(*(a + b for a, b in pairs)), estimate=self.estimate or other.estimate)

    @property
    def coverage(self) -> Fraction | None:
        """Observed share of the planned time; None when no time was planned."""
        return share(self.observed_us, self.planned_us)


def oee(sums: OeeSums) -> dict[str, Figure]:
    """``availability``, ``effectiveness``, ``quality_ratio`` and ``oee`` by name (ISO 22400-2).

    A ratio without a denominator has no value. Values above 1 stand as they are, with a hint. When a part has no
    planned time at all, what depends on it has no value, and the quality ratio is taken by count.
    """
    busy, production = sums.planned_busy_us, sums.production_us
    if sums.unplanned:
        effectiveness = _figure(sums, "effectiveness", None, production, HINT_NO_PLAN)
        index = _figure(sums, "oee", None, busy, HINT_NO_PLAN)
    else:
        produced = sums.planned_produced_us
        effectiveness = _figure(sums, "effectiveness", produced, production, _over(produced, production))
        index = _figure(sums, "oee", sums.planned_good_us, busy, _over(sums.planned_good_us, busy))
    availability = Figure("availability", production, busy, coverage=sums.coverage)
    return {f.name: f for f in (availability, effectiveness, _quality(sums), index)}


def _quality(sums: OeeSums) -> Figure:
    hint = HINT_LATE if sums.scrap > sums.produced else ""
    if not sums.unplanned:
        return _figure(sums, "quality_ratio", sums.planned_good_us, sums.planned_produced_us, hint)
    produced = sums.produced - sums.across_gap
    good = produced - (sums.scrap - sums.scrap_across_gap)
    return Figure("quality_ratio", good, produced, "1", sums.coverage, True, hint or HINT_BY_COUNT)


def _figure(
    sums: OeeSums, name: str, numerator: Fraction | None, denominator: int | Fraction, hint: str
) -> Figure:
    return Figure(name, numerator, denominator, "1", sums.coverage, sums.estimate, hint)


def _over(numerator: Fraction, denominator: int) -> str:
    return HINT_TOO_LONG if denominator and numerator > denominator else ""


FIGURES = (
    Definition(
        "availability",
        "actual_production_time ÷ planned_busy_time",
        "1",
        "share of the time in which the machine produced",
        ISO,
    ),
    Definition(
        "effectiveness",
        "Σ PRI · produced ÷ actual_production_time",
        "1",
        "speed against the planned time; above 1 the planned time is too long",
        ISO,
    ),
    Definition(
        "quality_ratio", "Σ PRI · good ÷ Σ PRI · produced", "1", "share of good parts, by planned time", ISO
    ),
    Definition(
        "oee",
        "Σ PRI · good ÷ planned_busy_time",
        "1",
        "availability · effectiveness · quality_ratio, the same number to the last digit",
        ISO,
    ),
    Definition("best_demonstrated_time", "P10 of steady cycles", "s", "stands in for a planned time", OURS),
)
