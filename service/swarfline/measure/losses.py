"""Losses: the planned busy time split without remainder into what it went to.

Not producing, by condition, in short and in long stops; producing: good parts at their planned time, scrap at its
planned time, and the rest, slow running, which is negative where parts came faster than planned.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import NamedTuple

from swarfline.calendar import Interval
from swarfline.facts import PRODUCING
from swarfline.measure.definition import OURS, Definition
from swarfline.measure.elements import NOT_PRODUCING
from swarfline.measure.lengths import Lengths
from swarfline.measure.oee import OeeSums
from swarfline.measure.stops import Stop

SHORT, LONG = "short", "long"
GOOD_PARTS, SCRAP_PARTS, SLOW_RUNNING = "good_parts", "scrap_parts", "slow_running"

STOP_LOSS = "stop_loss"
HOUR_US = 3_600_000_000

StopKey = tuple[str, str, str]
"""(condition, short or long, reason or empty)"""


class Price(NamedTuple):
    """What time is worth: planned run time per item (µs) of the part made then, money per hour of the machine."""

    item_us: Fraction | None = None
    hourly_rate: Fraction | None = None


class Loss(NamedTuple):
    """One row: ``name`` is a condition, stop_loss, good_parts, scrap_parts, slow_running or producing (not split).

    ``length`` is short, long or empty; ``reason`` is None unless stops are told by reason. ``time_us`` is exact;
    ``parts`` is what that time would have made by plan, ``money`` what it cost; None: not known.
    """

    name: str
    length: str
    time_us: Fraction
    parts: Fraction | None
    money: Fraction | None = None
    reason: str | None = None

    @classmethod
    def priced(cls, name: str, length: str, time_us: Fraction, price: Price, reason: str | None = None) -> Loss:
        """A time with what it would have made and what it cost."""
        parts = time_us / price.item_us if price.item_us else None
        money = None if price.hourly_rate is None else time_us / HOUR_US * price.hourly_rate
        return cls(name, length, time_us, parts, money, reason)

    @property
    def key(self) -> tuple[str, str, str | None]:
        """What rows of several stretches are added by."""
        return self.name, self.length, self.reason

    @property
    def seconds(self) -> float:
        """The time in s."""
        return float(self.time_us / 1_000_000)


NO_PRICE = Price()


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

    def rows(self, price: Price = NO_PRICE) -> list[Loss]:
        """Every share, zero ones too; their times sum to the planned busy time exactly."""
        split = [
            Loss.priced(condition, length, Fraction(self.stopped(condition, length)), price)
            for condition in NOT_PRODUCING
            for length in (SHORT, LONG)
        ]
        return split + self._running(price)

    def rows_by_reason(self, price: Price = NO_PRICE) -> list[Loss]:
        """The same with stops by reason, instead of by condition and length."""
        stops = self.by_reason().items()
        split = [Loss.priced(STOP_LOSS, "", Fraction(us), price, reason) for reason, us in stops]
        return split + self._running(price)

    def _running(self, price: Price) -> list[Loss]:
        slow = self.slow_us
        if self.good_us is None or self.scrap_us is None or slow is None:
            return [Loss.priced(PRODUCING, "", Fraction(self.production_us), price)]
        times = ((GOOD_PARTS, self.good_us), (SCRAP_PARTS, self.scrap_us), (SLOW_RUNNING, slow))
        return [Loss.priced(name, "", us, price) for name, us in times]


def added(rows: Iterable[Loss]) -> list[Loss]:
    """Rows of single stretches as one list, equal keys added, in the order of their first.

    Parts and money are not known where any time that goes into a row has none.
    """
    found: dict[tuple[str, str, str | None], list[Loss]] = {}
    for row in rows:
        found.setdefault(row.key, []).append(row)
    return [_sum(same) for same in found.values()]


def _sum(rows: Sequence[Loss]) -> Loss:
    """No time is worth nothing, whether its price is known or not."""
    real = [row for row in rows if row.time_us] or rows[:1]
    parts: Fraction | None = Fraction(0)
    money: Fraction | None = Fraction(0)
    for row in real:
        parts, money = _plus(parts, row.parts), _plus(money, row.money)
    return real[0]._replace(time_us=sum((row.time_us for row in real), Fraction(0)), parts=parts, money=money)


class StoppedTimes:
    """Stops of one machine by condition, length and reason: told for any span that they were found for."""

    def __init__(self, stops: Iterable[Stop]) -> None:
        pieces: dict[StopKey, list[Interval]] = {}
        for stop in stops:
            for condition, piece in stop.pieces:
                pieces.setdefault(_key(condition, stop), []).append(piece)
        self._lengths = {key: Lengths(found) for key, found in pieces.items()}

    def within(self, spans: Sequence[Interval]) -> dict[StopKey, int]:
        """µs by condition, length and reason in disjoint ``spans``; nothing where there is no time."""
        found = {key: lengths.within_all(spans) for key, lengths in self._lengths.items()}
        return {key: us for key, us in found.items() if us}


def losses(sums: OeeSums, stopped: Mapping[StopKey, int]) -> Losses:
    """The losses of the machine and span that ``sums`` and ``stopped`` both belong to."""
    known = not sums.unplanned
    return Losses(
        sums.planned_busy_us,
        sums.production_us,
        stopped,
        sums.planned_good_us if known else None,
        sums.planned_produced_us - sums.planned_good_us if known else None,
        sums.estimate,
    )


def _key(condition: str, stop: Stop) -> StopKey:
    return condition, LONG if stop.long else SHORT, stop.reason


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
