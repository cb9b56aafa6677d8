"""Figures worked out from the simulator's truth, cut to what could be seen, without anything of the service.

The shifts and planned times are those of docs/simulator.md, written down here a second time; the formulas are
those of docs/figures.md.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from fractions import Fraction
from zoneinfo import ZoneInfo

from .accounts import Span
from .troubled import Notes
from .truth import Record, Truth

ZONE = ZoneInfo("Europe/Madrid")
ALONE = ("N1", "N2")
WORK = ((time(6), time(9, 30)), (time(9, 50), time(18)), (time(18, 20), time(22)))
BREAKS = ((time(9, 30), time(9, 50)), (time(18), time(18, 20)))
PRI_S = {"PH-12": Fraction(180), "VC-30": Fraction(136, 2), "MB-05": Fraction(306)}
LONG_US = 300_000_000
"""Stops longer than this are long ones."""
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)

Times = list[tuple[int, int]]


def at_us(day: date, clock: time) -> int:
    """A wall-clock time in the plant's zone, in µs UTC."""
    moment = datetime.combine(day, clock, tzinfo=ZONE).astimezone(UTC)
    return (moment - EPOCH) // timedelta(microseconds=1)


def common(left: Sequence[tuple[int, int]], right: Sequence[tuple[int, int]]) -> Times:
    """What two sorted lists of intervals have in common."""
    starts = [start for start, _ in right]
    found: Times = []
    for start, end in left:
        for other, other_end in right[max(0, bisect_right(starts, start) - 1) :]:
            if other >= end:
                break
            if max(start, other) < min(end, other_end):
                found.append((max(start, other), min(end, other_end)))
    return found


def without(span: Span, taken: Iterable[tuple[int, int]]) -> Times:
    """What is left of a span; ``taken`` is sorted."""
    found, at = [], span.start_us
    for start, end in taken:
        if at < min(start, span.end_us):
            found.append((at, min(start, span.end_us)))
        at = max(at, end)
    return [*found, (at, span.end_us)] if at < span.end_us else found


def length(times: Iterable[tuple[int, int]]) -> int:
    """Summed length in µs."""
    return sum(end - start for start, end in times)


def planned(machine: str, span: Span) -> Times:
    """Planned time of one machine in a span."""
    first = datetime.fromtimestamp(span.start_us / 1e6, ZONE).date() - timedelta(days=1)
    days = [first + timedelta(days=n) for n in range((span.end_us - span.start_us) // 86_400_000_000 + 4)]
    working = [day for day in days if day.isoweekday() <= 5]
    if machine in ALONE:
        return without(span, [(at_us(d, a), at_us(d, b)) for d in working for a, b in BREAKS])
    return common([(at_us(d, a), at_us(d, b)) for d in working for a, b in WORK], [span])


@dataclass
class Reckoned:
    """Figures of one machine and span. Times in µs; parts by kind, with those across gaps in ``across``."""

    planned_us: int
    unobserved_us: int
    inside_us: Counter[str]
    producing_outside_us: int
    produced: Counter[str]
    scrap: Counter[str]
    across: dict[str, int]

    def made(self, kind: str) -> int:
        """Parts, total or scrap, in sight or across gaps."""
        seen = self.produced if kind == "total" else self.scrap
        return sum(seen.values()) + self.across[kind]

    @property
    def busy_us(self) -> int:
        """Planned busy time."""
        return self.planned_us - self.unobserved_us + self.producing_outside_us

    @property
    def production_us(self) -> int:
        """Actual production time."""
        return self.inside_us["producing"] + self.producing_outside_us

    @property
    def ratios(self) -> dict[str, float | None]:
        """Availability, effectiveness, quality ratio and OEE, each by its own formula."""
        planned_us = sum((PRI_S[p] * n for p, n in self.produced.items()), Fraction(0)) * 1_000_000
        good_us = planned_us - sum((PRI_S[p] * n for p, n in self.scrap.items()), Fraction(0)) * 1_000_000
        terms = {
            "availability": (self.production_us, self.busy_us),
            "effectiveness": (planned_us, self.production_us),
            "quality_ratio": (good_us, planned_us),
            "oee": (good_us, self.busy_us),
        }
        return {name: float(Fraction(top) / Fraction(low)) if low else None for name, (top, low) in terms.items()}


class Reckoning:
    """One machine's truth, cut to what could be seen."""

    def __init__(self, truth: Truth, machine: str, notes: Notes, whole: Span) -> None:
        self.machine = machine
        self.notes = notes
        self.whole = whole
        self.seen = without(whole, notes.gaps)
        self.cycles = truth.of(machine, "cycle")
        self.conditions = self._seen_conditions(truth.of(machine, "condition"))
        self.planned = planned(machine, whole)

    def _seen_conditions(self, records: Sequence[Record]) -> list[tuple[int, int, str]]:
        pieces = ((common([(r["start_us"], r["end_us"])], self.seen), r["condition"]) for r in records)
        return sorted((*piece, condition) for found, condition in pieces for piece in found)

    def hidden(self, us: int) -> bool:
        """Whether something that happened at this moment was not seen."""
        place = bisect_right(self.notes.gaps, (us - 1, 2**62)) - 1
        return place >= 0 and us <= self.notes.gaps[place].end_us and us > self.notes.gaps[place].start_us

    def figures(self, span: Span) -> Reckoned:
        """The figures of a span."""
        across = {kind: self.notes.across(kind, span) for kind in ("total", "scrap")}
        work = common(self.planned, [span])
        inside: Counter[str] = Counter()
        outside = 0
        for start, end, condition in self.conditions:
            piece = [(max(start, span.start_us), min(end, span.end_us))]
            if piece[0][0] < piece[0][1]:
                within = length(common(piece, work))
                inside[condition] += within
                outside += (length(piece) - within) * (condition == "producing")
        produced: Counter[str] = Counter()
        scrap: Counter[str] = Counter()
        for cycle in self.cycles:
            if span.start_us <= cycle["end_us"] < span.end_us and not self.hidden(cycle["end_us"]):
                produced[cycle["part"]] += cycle["parts"]
                scrap[cycle["part"]] += cycle["scrap"]
        unseen = length(work) - sum(inside.values())
        return Reckoned(length(work), unseen, inside, outside, produced, scrap, across)

    def stops_us(self) -> Counter[tuple[str, str]]:
        """Planned µs not producing over the whole time, by (condition, short or long)."""
        found: Counter[tuple[str, str]] = Counter()
        run: list[tuple[int, int, str]] = []
        for piece in [*self.conditions, (2**62, 2**62, "producing")]:
            if run and (piece[2] == "producing" or piece[0] != run[-1][1]):
                by_condition: Counter[str] = Counter()
                for start, end, condition in run:
                    by_condition[condition] += length(common([(start, end)], self.planned))
                kind = "long" if sum(by_condition.values()) > LONG_US else "short"
                for condition, us in by_condition.items():
                    found[condition, kind] += us
                run = []
            if piece[2] != "producing":
                run.append(piece)
        return found

    def energy_wh(self) -> dict[str, float]:
        """Energy in sight by condition: power as it was told, held from one reading to the next."""
        powered = [
            (start, end, watts)
            for (start, watts), (end, _) in zip(
                self.notes.power, [*self.notes.power[1:], (self.whole.end_us, None)], strict=True
            )
            if watts is not None and start < end
        ]
        found: defaultdict[str, float] = defaultdict(float)
        place = 0
        for start, end, condition in self.conditions:
            while place < len(powered) and powered[place][1] <= start:
                place += 1
            at = place
            while at < len(powered) and powered[at][0] < end:
                begin, until, watts = powered[at]
                found[condition] += watts * (min(until, end) - max(begin, start)) / 3.6e9
                at += 1
        return dict(found)
