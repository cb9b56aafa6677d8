"""Run-off: consecutive cycles against the planned time, and whether that is proof of what the machine can do.

The index is that of machine capability with the planned cycle time as its one limit, from above:
(limit − x̄) ÷ 3 s. The trade calls it Cmk, ISO 22514-3 the machine performance index Pmk, here of an upper limit
alone (names from memory). Its interval is exact for normal cycle times that do not follow one another.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from math import sqrt

from swarfline.facts import COMPLETE, CUTTING, STEPS, Cycle
from swarfline.figures import Figure
from swarfline.measure.definition import NIST, OURS, Definition
from swarfline.measure.distributions import NoncentralT, beta_quantile
from swarfline.measure.ranks import LEVEL, Interval
from swarfline.measure.study import SECOND_US, Sample
from swarfline.measure.trend import Individuals, individuals, steady_cycles
from swarfline.sentence import N_, Sentence

FEWEST = 30
"""Steady cycles before a run-off is judged (own choice)."""

TARGET = 4 / 3
"""The index to be reached unless told otherwise (common practice, no source)."""

CAPABLE, NOT_CAPABLE, OPEN, TOO_FEW, NO_LIMIT = "capable", "not_capable", "open", "too_few", "no_limit"
RULINGS = (CAPABLE, NOT_CAPABLE, OPEN, TOO_FEW, NO_LIMIT)

HOUR_S = 3600
_TAIL = (1 - LEVEL) / 2


def capability(mean: float, deviation: float, limit: float) -> float:
    """Distance of the mean from an upper limit, in three standard deviations (above 0)."""
    return (limit - mean) / (3 * deviation)


def capability_interval(index: float, count: int) -> Interval:
    """Interval of the true index behind one that ``count`` values gave; they need to be two.

    3 √n · index is a value of the noncentral t distribution with n − 1 degrees of freedom and the noncentrality
    3 √n · true index (textbook, from memory).
    """
    scale = 3 * sqrt(count)
    found = NoncentralT(scale * index, count - 1)
    return found.noncentrality(1 - _TAIL) / scale, found.noncentrality(_TAIL) / scale


def share_interval(hits: int, count: int) -> Interval:
    """Interval of a share that ``hits`` of ``count`` gave, from quantiles of beta (Clopper & Pearson 1934)."""
    low = beta_quantile(_TAIL, hits, count - hits + 1) if hits else 0.0
    high = beta_quantile(1 - _TAIL, hits + 1, count - hits) if hits < count else 1.0
    return low, high


@dataclass(frozen=True, slots=True)
class Wait:
    """Time from one cycle's end to the next one's start, in which the machine may have stood or not been seen."""

    start_us: int
    length_us: int


@dataclass(frozen=True)
class RunOff:
    """The newest steady cycles of one machine, program and part, and all that ran between the first and the last.

    ``asked`` cycles were wished for. ``limit_us`` is None where no time is planned. ``inside`` holds every cycle
    of the machine from the first steady one to the last, in time order. Figures in s; None: cannot be told.
    """

    asked: int
    limit_us: float | None
    target: float
    sample: Sample
    inside: tuple[Cycle, ...]
    other: int

    @property
    def span_us(self) -> tuple[int, int] | None:
        """Start of the first steady cycle and end of the last, µs UTC."""
        known = self.sample.cycles
        return (known[0].start_us, known[-1].end_us) if known else None

    @property
    def limit_s(self) -> float | None:
        """The planned time that the cycles are held against."""
        return None if self.limit_us is None else self.limit_us / SECOND_US

    @cached_property
    def chart(self) -> Individuals:
        """Individuals chart of the cycle times: whether they are steady."""
        return individuals(self.sample.values_s)

    @cached_property
    def index(self) -> float | None:
        """Capability by the spread of all of the cycles."""
        return self._index(self.sample.deviation_s)

    @cached_property
    def index_within(self) -> float | None:
        """Capability by the spread from cycle to cycle: what could be reached without drift."""
        return self._index(self.chart.sigma)

    def _index(self, deviation: float | None) -> float | None:
        mean, limit = self.sample.mean_s, self.limit_s
        return capability(mean, deviation, limit) if deviation and mean is not None and limit is not None else None

    @cached_property
    def index_interval(self) -> Interval | None:
        """Interval of ``index``."""
        return None if self.index is None else capability_interval(self.index, self.sample.count)

    @property
    def over(self) -> int | None:
        """Steady cycles longer than planned."""
        limit = self.limit_us
        return None if limit is None else sum(c.duration_us > limit for c in self.sample.cycles)

    @property
    def over_interval(self) -> Interval | None:
        """Interval of the share of cycles longer than planned; asks nothing of their distribution."""
        return (
            share_interval(self.over, self.sample.count) if self.over is not None and self.sample.count else None
        )

    @property
    def cutting(self) -> Figure:
        """Share of the steady cycles' time in which chips were made."""
        place = STEPS.index(CUTTING)
        cut = sum(c.step_us[place] for c in self.sample.cycles)
        return Figure("cutting_share", cut, sum(c.duration_us for c in self.sample.cycles))

    @property
    def parts(self) -> int:
        """Parts of the complete cycles of what is run off, held ones too."""
        made = {(c.program, c.part) for c in self.sample.cycles}
        return sum(c.parts for c in self.inside if (c.program, c.part) in made and c.outcome == COMPLETE)

    @property
    def parts_beside(self) -> int:
        """Those of ``parts`` whose cycles are not among the steady ones: they were held or partly unobserved."""
        return self.parts - sum(c.parts for c in self.sample.cycles)

    @property
    def parts_per_hour(self) -> float | None:
        """Parts ÷ time from the first cycle's start to the last one's end, all waits in."""
        span = self.span_us
        return self.parts * HOUR_S * SECOND_US / (span[1] - span[0]) if span and self.parts else None

    @property
    def parts_per_hour_running(self) -> float | None:
        """Parts ÷ time of the steady cycles, as if nothing lay between them."""
        per_part = self.sample.per_part_s
        return HOUR_S / per_part if per_part else None

    @cached_property
    def longest_wait(self) -> Wait | None:
        """The longest time between two cycles that follow one another; the first of equals."""
        waits = [Wait(a.end_us, b.start_us - a.end_us) for a, b in pairwise(self.inside)]
        return max(waits, key=lambda w: w.length_us, default=None)

    @cached_property
    def ruling(self) -> str:
        """capable, not_capable, open (the interval holds the target), too_few or no_limit.

        Without any spread the mean alone decides, as there is no index.
        """
        mean, limit = self.sample.mean_s, self.limit_s
        if limit is None:
            return NO_LIMIT
        if self.sample.count < FEWEST or mean is None:
            return TOO_FEW
        if self.index_interval is None:
            return CAPABLE if mean <= limit else NOT_CAPABLE
        low, high = self.index_interval
        return CAPABLE if low >= self.target else NOT_CAPABLE if high < self.target else OPEN


def run_off(
    cycles: Iterable[Cycle], made: tuple[str, str], asked: int, limit_us: float | None, target: float = TARGET
) -> RunOff:
    """The newest ``asked`` steady cycles of ``made`` = (program, part) among all cycles of a machine."""
    known = sorted(cycles, key=lambda c: c.start_us)
    steady = [c for c in steady_cycles(known) if (c.program, c.part) == made][-asked:]
    if not steady:
        return RunOff(asked, limit_us, target, Sample.of(()), (), 0)
    inside = [c for c in known if steady[0].start_us <= c.start_us <= steady[-1].start_us]
    of_it = [c for c in inside if (c.program, c.part) == made]
    return RunOff(asked, limit_us, target, Sample.of(of_it), tuple(inside), len(inside) - len(of_it))


def in_words(found: RunOff) -> str:
    """The ruling of a run-off in one or two sentences, in English."""
    return sentence(found).told()


def cautions(found: RunOff) -> list[str]:
    """What a reader should know before relying on the ruling, in English."""
    return [one.told() for one in warnings(found)]


def sentence(found: RunOff) -> Sentence:
    """The ruling of a run-off, to be said."""
    interval, ruling = found.index_interval, found.ruling
    if ruling == NO_LIMIT:
        return Sentence(N_("There is no planned cycle time to hold the cycles against."))
    over = (found.sample.mean_s or 0) - (found.limit_s or 0)
    low, high = interval or (0.0, 0.0)
    values = {"count": found.sample.count, "fewest": FEWEST, "low": low, "high": high, "over": over}
    values |= {"target": found.target}
    if ruling == TOO_FEW:
        return Sentence(_TOO_FEW if interval is None else _TOO_FEW_BOUND, values)
    if interval is None:
        return Sentence(_ALL_WITHIN if ruling == CAPABLE else _ALL_ABOVE, values)
    if ruling == NOT_CAPABLE and over > 0:
        return Sentence(_ABOVE, values)
    return Sentence(_SAYS[ruling], values)


_TOO_FEW = N_("Not enough cycles: {count} steady ones; {fewest} are needed.")
_TOO_FEW_BOUND = N_(
    "Not enough cycles: {count} steady ones; {fewest} are needed. Cmk is {low:.2f} at least (95 % interval)."
)
_ALL_WITHIN = N_(
    "All {count} cycles took the same time, within the planned one; without spread there is no index."
)
_ALL_ABOVE = N_("All {count} cycles took the same time, above the planned one; without spread there is no index.")
_ABOVE = N_("Not reached: the mean lies beyond the limit, {over:.2f} s above the longest time allowed.")
_SAYS = {
    CAPABLE: N_("Shown: Cmk lies between {low:.2f} and {high:.2f} (95 %), not below the target of {target:.2f}."),
    NOT_CAPABLE: N_(
        "Not reached: Cmk lies between {low:.2f} and {high:.2f} (95 %), below the target of {target:.2f}."
    ),
    OPEN: N_(
        "Open: Cmk lies between {low:.2f} and {high:.2f} (95 %), so {count} cycles do not settle the target "
        "of {target:.2f}. Run more cycles."
    ),
}


def warnings(found: RunOff) -> list[Sentence]:
    """What a reader should know before relying on the ruling, to be said."""
    told, sample = [], found.sample
    if 0 < sample.count < found.asked:
        counts = {"count": sample.count, "asked": found.asked}
        told.append(Sentence(N_("Only {count} of {asked} cycles are there."), counts))
    if found.chart.beyond:
        text = N_(
            "Cycles beyond the limits of single cycles: {count}. The run was not steady, "
            "and the index says little of the next one."
        )
        told.append(Sentence(text, {"count": len(found.chart.beyond)}))
    if sample.autocorrelation is not None and sample.effective < sample.count:
        text = N_(
            "Cycles are like those before them (autocorrelation {tie:.2f}): "
            "the interval of the index takes no account of it and is too narrow."
        )
        told.append(Sentence(text, {"tie": sample.autocorrelation}))
    return [*told, *_interruptions(found)]


def _interruptions(found: RunOff) -> Sequence[Sentence]:
    sample = found.sample
    counts = (
        (N_("{count} held"), sample.held),
        (N_("{count} partly unobserved"), sample.unobserved),
        (N_("{count} aborted"), sample.aborted),
        (N_("{count} partly seen"), sample.partial),
        (N_("{count} of something else"), found.other),
    )
    told = tuple(Sentence(text, {"count": count}) for text, count in counts if count)
    text = N_("The run was not without a break. Cycles in between that are not judged: {what}.")
    return [Sentence(text, {"what": told})] if told else []


FIGURES = (
    Definition("run_off_index", "(limit − x̄) ÷ (3 · s)", "1", "upper capability", NIST + " 6.1.6"),
    Definition(
        "run_off_index_interval",
        "noncentral t, n − 1, 3 · √n · index",
        "1",
        "where the true index lies, 95 %",
        "textbook",
    ),
    Definition("run_off_index_within", "(limit − x̄) ÷ (3 · M̄R ÷ 1.128)", "1", "without drift", OURS),
    Definition("over_share", "cycles longer than planned ÷ cycles", "1", "counted", "Clopper & Pearson 1934"),
    Definition("cutting_share", "Σ cutting ÷ Σ cycle time", "1", "share of the cycle that makes chips", OURS),
    Definition("parts_per_hour", "parts ÷ time from first start to last end", "1/h", "waits in", OURS),
    Definition("longest_wait", "max (next start − end)", "s", "between two cycles of the run", OURS),
)
