"""Pace: parts made against what the plan would have made by now, and where that leads by the end of the span."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from swarfline.calendar import Interval, intersect, subtract, total
from swarfline.measure.definition import OURS, Definition
from swarfline.measure.elements import window_of
from swarfline.measure.targets import NONE_TOLD, Aims


@dataclass(frozen=True, slots=True)
class Pace:
    """Parts of one machine in one span (a shift, as a rule) against its plan.

    ``planned_us`` is the span's planned time, ``elapsed_us`` what of it has passed. ``target`` and
    ``expected`` are what people want in those where they told (``told``), else what the plan makes at 100 %;
    ``ahead`` = made − expected, negative when behind; ``forecast`` is what the span ends with if it goes on as
    so far. None where there is no plan, or nothing has passed yet, and where nobody saw what was made.
    """

    made: int | None
    planned_us: int
    elapsed_us: int
    target: Fraction | None
    expected: Fraction | None
    ahead: Fraction | None
    forecast: Fraction | None
    estimate: bool = False
    told: bool = False


def pace(
    made: int | None,
    item_us: Fraction | None,
    planned: Sequence[Interval],
    span: Interval,
    now_us: int,
    estimate: bool = False,
    aims: Aims = NONE_TOLD,
) -> Pace:
    """Pace of a machine that has ``made`` parts in ``span`` so far; None where nobody watched.

    ``item_us`` is the planned run time per item (``PartPlan.item_us``), ``estimate`` when it was measured.
    ``planned`` is sorted and disjoint. ``aims`` are the targets of people; they go before the plan.
    """
    passed = (span[0], max(span[0], min(span[1], now_us)))
    whole = total(intersect(planned, window_of(span)))
    elapsed = total(intersect(planned, window_of(passed)))
    expected = _due(item_us, planned, passed, aims)
    open_us = total(_untold(planned, span, aims))
    return Pace(
        made,
        whole,
        elapsed,
        _due(item_us, planned, span, aims),
        expected,
        None if expected is None or made is None else made - expected,
        Fraction(made * whole, elapsed) if elapsed and made is not None else None,
        estimate and item_us is not None and (open_us > 0 or not aims.covered),
        aims.touch(span),
    )


def _untold(planned: Sequence[Interval], span: Interval, aims: Aims) -> list[Interval]:
    """Planned time of a span that no target is about."""
    return subtract(intersect(planned, window_of(span)), aims.covered)


def _due(item_us: Fraction | None, planned: Sequence[Interval], span: Interval, aims: Aims) -> Fraction | None:
    """Parts that are due in a span: by the targets, and by the plan in the time that they leave."""
    by_plan = total(_untold(planned, span, aims))
    if item_us:
        return aims.due(span) + by_plan / item_us
    return aims.due(span) if aims.touch(span) and not by_plan else None


FIGURES = (
    Definition("pace_target", "planned_time ÷ PRI, or as people told", "1", "parts wanted in the span", OURS),
    Definition("pace_expected", "planned time elapsed ÷ PRI, or of the target", "1", "parts due by now", OURS),
    Definition("pace_ahead", "produced − pace_expected", "1", "parts ahead, negative: behind", OURS),
    Definition("pace_forecast", "produced · planned_time ÷ elapsed", "1", "parts at the end, going on so", OURS),
)
