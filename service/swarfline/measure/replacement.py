"""Replacement interval of a tool: at what use a planned change costs least, by the age replacement model.

    cost per life used = (planned · R(T) + unplanned · (1 − R(T))) ÷ ∫ R from 0 to T

Every tool is changed when it has been used for T, at the cost of a planned change, or when it fails before, at the
cost of an unplanned one. Source: Barlow & Proschan 1965 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf
from typing import Protocol

from swarfline.measure.definition import Definition
from swarfline.measure.roots import root
from swarfline.measure.weibull import Fit

REPLACE, RUN_TO_END, NOT_ENOUGH = "replace", "run_to_end", "not_enough_data"

LEAST_SAVING = 0.05
"""An interval that saves less of the cost per life used than this is not worth keeping (own choice)."""


class Law(Protocol):
    """How lives fail; see ``Weibull``, whose hazard is taken to rise or to fall throughout."""

    def survival(self, used: float) -> float: ...
    def hazard(self, used: float) -> float: ...
    def used_to(self, used: float) -> float: ...
    @property
    def mean(self) -> float: ...
    @property
    def end(self) -> float: ...


def cost_rate(law: Law, interval: float, planned: float, unplanned: float) -> float:
    """Cost per life used when tools are changed at ``interval`` at the latest; inf: they run until they fail."""
    if interval == inf:
        return unplanned / law.mean
    lasting = law.survival(interval)
    return (planned * lasting + unplanned * (1 - lasting)) / law.used_to(interval)


def best_interval(law: Law, planned: float, unplanned: float) -> float:
    """The interval of least cost per life used: where h(T) · ∫R − (1 − R(T)) = planned ÷ (unplanned − planned).

    inf where running to the end costs least: failures that do not become more frequent with use, or a planned
    change that costs as much as an unplanned one. Costs must be above 0.
    """
    if unplanned <= planned:
        return inf
    balance = planned / (unplanned - planned)

    def excess(used: float) -> float:
        return law.hazard(used) * law.used_to(used) - (1 - law.survival(used)) - balance

    low, high = law.end * 1e-12, law.end
    if excess(high) <= 0:
        return inf
    return low if excess(low) >= 0 else root(excess, low, high)


@dataclass(frozen=True, slots=True)
class Replacement:
    """What the lives of a tool type and the costs of its changes support.

    ``interval`` with its 95 % interval ``low`` to ``high`` in 1, s or m by basis; None: no end, that is, run to
    the end, also where the best interval saves too little. ``rate``, ``rate_at_limit`` and ``rate_to_end`` are
    costs per unit of life used at the best interval, at the present limit, and when tools run until they fail.
    ``saving`` is 1 − rate ÷ rate_to_end. ``beyond_seen``: the interval lies beyond the longest life that was seen,
    where the law is only supposed to go on.
    """

    state: str
    interval: float | None = None
    low: float | None = None
    high: float | None = None
    rate: float | None = None
    rate_at_limit: float | None = None
    rate_to_end: float | None = None
    saving: float | None = None
    beyond_seen: bool = False


def replacement(
    found: Fit | None, planned: float, unplanned: float, limit: float | None = None, longest: float = 0.0
) -> Replacement:
    """The interval that a fit supports; ``longest`` is the longest life seen."""
    if found is None:
        return Replacement(NOT_ENOUGH)
    law = found.law
    best = best_interval(law, planned, unplanned)
    low, high = found.interval(lambda one: best_interval(one, planned, unplanned))
    rate, to_end = (cost_rate(law, t, planned, unplanned) for t in (best, inf))
    saving = 1 - rate / to_end
    worth = saving >= LEAST_SAVING
    return Replacement(
        state=REPLACE if worth else RUN_TO_END,
        interval=best if worth else None,
        low=_finite(low),
        high=_finite(high),
        rate=rate,
        rate_at_limit=cost_rate(law, limit, planned, unplanned) if limit else None,
        rate_to_end=to_end,
        saving=saving,
        beyond_seen=worth and longest < best,
    )


def _finite(value: float) -> float | None:
    return None if value == inf else value


FIGURES = (
    Definition(
        "replacement_interval",
        "T of least (planned · R(T) + unplanned · (1 − R(T))) ÷ ∫ R to T",
        "1, s or m",
        "use at which a planned change costs least",
        "Barlow & Proschan 1965",
    ),
    Definition(
        "replacement_saving",
        "1 − cost per life used at the interval ÷ that of running to the end",
        "1",
        "what the interval saves",
        "Barlow & Proschan 1965",
    ),
)
