"""Losses: the planned busy time split without remainder into what it went to.

Not producing, by condition, in short and in long stops; producing: good parts at their planned time, scrap at its
planned time, and the rest, slow running, which is negative where parts came faster than planned.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from typing import NamedTuple

from swarfline.facts import PRODUCING
from swarfline.measure.definition import OURS, Definition
from swarfline.measure.elements import NOT_PRODUCING
from swarfline.measure.oee import OeeSums
from swarfline.measure.production import PartPlan
from swarfline.measure.stops import Stop

SHORT, LONG = "short", "long"
GOOD_PARTS, SCRAP_PARTS, SLOW_RUNNING = "good_parts", "scrap_parts", "slow_running"

StopKey = tuple[str, str, str]
"""(condition, short or long, reason or empty)"""


class Loss(NamedTuple):
    """One row: ``name`` is a condition, good_parts, scrap_parts, slow_running or producing (not split).

    ``length`` is short, long or empty. ``time_us`` is exact; ``parts`` what that time would have made by plan.
    """

    name: str
    length: str
    time_us: Fraction
    parts: Fraction | None

    @property
    def seconds(self) -> float:
        """The time in s."""
        return float(self.time_us / 1_000_000)


@dataclass(frozen=True, slots=True)
class Losses:
    """The split of the planned busy time, µs. Losses of disjoint spans or of several machines add with ``+``.

    ``good_us`` and ``scrap_us`` are None when a part has no planned time; then producing time is not split.
    """

    planned_busy_us: int = 0
    production_us: int = 0
    stopped_us: Mapping[StopKey, int] = field(default_factory=dict)
    good_us: Fraction | None = Fraction(0)
    scrap_us: Fraction | None = Fraction(0)
    estimate: bool = False

    def __add__(self, other: Losses) -> Losses:
        keys = sorted({*self.stopped_us, *other.stopped_us})
        return Losses(
            self.planned_busy_us + other.planned_busy_us,
            self.production_us + other.production_us,
            {k: self.stopped_us.get(k, 0) + other.stopped_us.get(k, 0) for k in keys},
            _plus(self.good_us, other.good_us),
            _plus(self.scrap_us, other.scrap_us),
            self.estimate or other.estimate,
        )

    @property
    def slow_us(self) -> Fraction | None:
        """Producing time beyond the planned time of what was made; negative where faster than planned."""
        if self.good_us is None or self.scrap_us is None:
            return None
        return self.production_us - self.good_us - self.scrap_us

    def stopped(self, condition: str, length: str) -> int:
        """µs of one condition in short or in long stops."""
        return sum(us for key, us in self.stopped_us.items() if key[:2] == (condition, length))

    def by_reason(self) -> dict[str, int]:
        """µs not producing by the stop's reason; the empty reason is: not known."""
        sums: dict[str, int] = {}
        for (_, _, reason), us in self.stopped_us.items():
            sums[reason] = sums.get(reason, 0) + us
        return sums

    def rows(self, plan: PartPlan | None = None) -> list[Loss]:
        """Every share, zero ones too; their times sum to the planned busy time exactly.

        With one ``plan`` each share is also told in parts of that plan.
        """
        split = [
            (condition, length, Fraction(self.stopped(condition, length)))
            for condition in NOT_PRODUCING
            for length in (SHORT, LONG)
        ]
        item = plan.item_us if plan else None
        return [Loss(n, length, us, us / item if item else None) for n, length, us in split + self._running()]

    def _running(self) -> list[tuple[str, str, Fraction]]:
        slow = self.slow_us
        if self.good_us is None or self.scrap_us is None or slow is None:
            return [(PRODUCING, "", Fraction(self.production_us))]
        return [(GOOD_PARTS, "", self.good_us), (SCRAP_PARTS, "", self.scrap_us), (SLOW_RUNNING, "", slow)]


def losses(sums: OeeSums, stops: Iterable[Stop]) -> Losses:
    """The losses of the machine and span that ``sums`` and ``stops`` both belong to."""
    stopped: dict[StopKey, int] = {}
    for stop in stops:
        for condition, us in stop.by_condition.items():
            key = (condition, LONG if stop.long else SHORT, stop.reason)
            stopped[key] = stopped.get(key, 0) + us
    known = not sums.unplanned
    return Losses(
        sums.planned_busy_us,
        sums.production_us,
        stopped,
        sums.planned_good_us if known else None,
        sums.planned_produced_us - sums.planned_good_us if known else None,
        sums.estimate,
    )


def _plus(left: Fraction | None, right: Fraction | None) -> Fraction | None:
    return None if left is None or right is None else left + right


FIGURES = (
    Definition("stop_loss", "planned time of stops, by condition, short or long", "s", "not producing", OURS),
    Definition("good_parts", "Σ PRI · good", "s", "producing: good parts at their planned time", OURS),
    Definition("scrap_parts", "Σ PRI · (produced − good)", "s", "producing: scrap at its planned time", OURS),
    Definition(
        "slow_running",
        "actual_production_time − good_parts − scrap_parts",
        "s",
        "producing: the rest; negative where faster than planned",
        OURS,
    ),
)
