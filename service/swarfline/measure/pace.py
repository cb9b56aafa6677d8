"""Pace: parts made against what the plan would have made by now, and where that leads by the end of the span."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from swarfline.calendar import Interval, intersect, total
from swarfline.measure.definition import OURS, Definition
from swarfline.measure.elements import window_of


@dataclass(frozen=True, slots=True)
class Pace:
    """Parts of one machine in one span (a shift, as a rule) against its plan.

    ``planned_us`` is the span's planned time, ``elapsed_us`` what of it has passed. ``target`` and ``expected``
    are what the plan makes in those at 100 %; ``ahead`` = made − expected, negative when behind; ``forecast`` is
    what the span ends with if it goes on as so far. None where there is no plan, or nothing has passed yet.
    """

    made: int
    planned_us: int
    elapsed_us: int
    target: Fraction | None
    expected: Fraction | None
    ahead: Fraction | None
    forecast: Fraction | None
    estimate: bool = False


def pace(
    made: int,
    item_us: Fraction | None,
    planned: Sequence[Interval],
    span: Interval,
    now_us: int,
    estimate: bool = False,
) -> Pace:
    """Pace of a machine that has ``made`` parts in ``span`` so far.

    ``item_us`` is the planned run time per item (``PartPlan.item_us``), ``estimate`` when it was measured.
    ``planned`` is sorted and disjoint.
    """
    whole = total(intersect(planned, window_of(span)))
    elapsed = total(intersect(planned, window_of((span[0], min(span[1], now_us)))))
    expected = elapsed / item_us if item_us else None
    return Pace(
        made,
        whole,
        elapsed,
        whole / item_us if item_us else None,
        expected,
        None if expected is None else made - expected,
        Fraction(made * whole, elapsed) if elapsed else None,
        estimate and item_us is not None,
    )


FIGURES = (
    Definition("pace_target", "planned_time ÷ PRI", "1", "parts that the span makes by plan", OURS),
    Definition("pace_expected", "planned time elapsed ÷ PRI", "1", "parts that were due by now", OURS),
    Definition("pace_ahead", "produced − pace_expected", "1", "parts ahead, negative: behind", OURS),
    Definition("pace_forecast", "produced · planned_time ÷ elapsed", "1", "parts at the end, going on so", OURS),
)
