"""Time elements: what the conditions of one machine add up to, inside and outside of planned time.

Names and contents after ISO 22400-2; how conditions become elements is told in docs/figures.md.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction

from swarfline.calendar import Interval, intersect
from swarfline.facts import (
    CONDITIONS,
    FAULT,
    HELD,
    OFF,
    OUT_OF_SERVICE,
    PRODUCING,
    SETUP,
    UNOBSERVED,
    WAITING,
    Condition,
)
from swarfline.figures import share
from swarfline.measure.definition import ISO, OURS, Definition
from swarfline.measure.lengths import Lengths

NOT_PRODUCING = (SETUP, WAITING, HELD, FAULT, OUT_OF_SERVICE, OFF)
"""Observed conditions that take planned time away from production, in the order in which they are shown."""

DELAY = (HELD, FAULT, OUT_OF_SERVICE)
"""Conditions of the actual unit delay time (ADET): the work is interrupted or stretched."""

DOWN = (WAITING, OFF)
"""Conditions of the actual unit down time (ADOT): nothing runs although it could."""

_NONE = (0,) * len(CONDITIONS)


def window_of(span: Interval) -> list[Interval]:
    """The span as a list of intervals; empty when it has no length."""
    return [span] if span[0] < span[1] else []


@dataclass(frozen=True, slots=True)
class TimeElements:
    """Integer µs by condition (in the order of CONDITIONS) inside and outside of planned time.

    ``inside_us`` sums to the planned time: what no condition tells of is ``unobserved``. ``outside_us`` holds
    only what conditions tell of. Elements of disjoint spans or of several machines add with ``+``.
    """

    inside_us: tuple[int, ...] = _NONE
    outside_us: tuple[int, ...] = _NONE

    def __add__(self, other: TimeElements) -> TimeElements:
        return TimeElements(
            tuple(map(int.__add__, self.inside_us, other.inside_us)),
            tuple(map(int.__add__, self.outside_us, other.outside_us)),
        )

    def inside(self, condition: str) -> int:
        """µs of one condition within planned time; raises ValueError for a word that is no condition."""
        return self.inside_us[CONDITIONS.index(condition)]

    def outside(self, condition: str) -> int:
        """µs of one condition outside of planned time; raises ValueError for a word that is no condition."""
        return self.outside_us[CONDITIONS.index(condition)]

    @property
    def planned_us(self) -> int:
        """Time planned for production: shifts less breaks and planned stops."""
        return sum(self.inside_us)

    @property
    def unobserved_us(self) -> int:
        """Planned time of which nothing is known."""
        return self.inside(UNOBSERVED)

    @property
    def observed_us(self) -> int:
        """Planned time that was observed."""
        return self.planned_us - self.unobserved_us

    @property
    def producing_outside_us(self) -> int:
        """Producing time that nobody had planned."""
        return self.outside(PRODUCING)

    @property
    def planned_busy_us(self) -> int:
        """Planned busy time (PBT): planned and observed, plus producing outside of planned time."""
        return self.observed_us + self.producing_outside_us

    @property
    def production_us(self) -> int:
        """Actual production time (APT): producing, inside and outside of planned time."""
        return self.inside(PRODUCING) + self.producing_outside_us

    @property
    def setup_us(self) -> int:
        """Actual unit setup time (AUST) within planned time."""
        return self.inside(SETUP)

    @property
    def delay_us(self) -> int:
        """Actual unit delay time (ADET) within planned time."""
        return sum(map(self.inside, DELAY))

    @property
    def down_us(self) -> int:
        """Actual unit down time (ADOT) within planned time."""
        return sum(map(self.inside, DOWN))

    @property
    def coverage(self) -> Fraction | None:
        """Observed share of the planned time; None when no time was planned."""
        return share(self.observed_us, self.planned_us)


class Timeline:
    """The conditions of one machine beside its planned times: its elements in any span, each at little cost."""

    def __init__(self, conditions: Iterable[Condition], planned: Sequence[Interval]) -> None:
        """``conditions`` and ``planned`` are sorted and disjoint and reach at least over the spans asked for."""
        pieces = _pieces(conditions)
        self._planned = Lengths(planned)
        self._inside = [Lengths(intersect(pieces[c], planned)) for c in CONDITIONS]
        self._all = [Lengths(pieces[c]) for c in CONDITIONS]

    def elements(self, span: Interval) -> TimeElements:
        """Elements in ``span`` = [start, end), whose end must not lie in the future."""
        inside = [lengths.within(span) for lengths in self._inside]
        outside = [lengths.within(span) - inside[i] for i, lengths in enumerate(self._all)]
        inside[CONDITIONS.index(UNOBSERVED)] += self._planned.within(span) - sum(inside)
        return TimeElements(tuple(inside), tuple(outside))


def time_elements(conditions: Iterable[Condition], planned: Sequence[Interval], span: Interval) -> TimeElements:
    """Elements of one machine in a single ``span``; what is passed may exceed it (see Timeline)."""
    return Timeline(conditions, planned).elements(span)


def _pieces(conditions: Iterable[Condition]) -> dict[str, list[Interval]]:
    pieces: dict[str, list[Interval]] = {c: [] for c in CONDITIONS}
    for fact in conditions:
        if fact.start_us < fact.end_us:
            pieces[fact.condition].append((fact.start_us, fact.end_us))
    return pieces


FIGURES = (
    Definition("planned_time", "shifts − breaks − planned stops", "s", "time planned for production", OURS),
    Definition("unobserved_time", "planned time without a known condition", "s", "time nothing is known of", OURS),
    Definition("coverage", "(planned_time − unobserved_time) ÷ planned_time", "1", "how much was observed", OURS),
    Definition(
        "planned_busy_time",
        "planned_time − unobserved_time + producing_outside_time",
        "s",
        "time that production is measured against (PBT)",
        ISO,
    ),
    Definition("actual_production_time", "producing, inside and outside of planned time", "s", "APT", ISO),
    Definition("producing_outside_time", "producing outside of planned time", "s", "unplanned production", OURS),
    Definition("actual_setup_time", "setup in planned time", "s", "AUST", ISO),
    Definition("actual_delay_time", "held + fault + out_of_service in planned time", "s", "ADET", ISO),
    Definition("actual_down_time", "waiting + off in planned time", "s", "ADOT", ISO),
)
