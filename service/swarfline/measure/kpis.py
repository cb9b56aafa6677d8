"""The KPIs of ISO 22400-2 that a machine's signals allow, as sums over sums, and those that they do not.

How conditions become time elements is told in docs/figures.md; UNTOLD says what is left out and why.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from fractions import Fraction
from typing import NamedTuple

from swarfline.calendar import Interval
from swarfline.figures import Exact, Figure
from swarfline.measure.definition import ISO, OURS, Definition
from swarfline.measure.elements import TimeElements
from swarfline.measure.energy import EnergySums, energy_figures
from swarfline.measure.oee import HINT_NO_PLAN, HINT_TOO_LONG, OeeSums, oee
from swarfline.measure.production import Production
from swarfline.measure.stops import Stop

SECOND_US = 1_000_000
HOUR_US = 3600 * SECOND_US

HINT_NO_FAULTS = "No machine here tells faults (signal 'alarm')."
HINT_SOME_FAULTS = "Machines that do not tell faults (signal 'alarm') are left out."
HINT_NO_FAILURE = "No failure began in the span."
HINT_NO_STOP = "No long stop began in the span."
HINT_NO_SCRAP = "No machine here tells scrap (signal 'scrap_count' or 'good_count')."
HINT_SOME_SCRAP = "Machines that do not tell scrap (signal 'scrap_count' or 'good_count') are left out."


Told = tuple[bool, bool]
"""Whether any machine tells something, and whether any does not."""


class Events(NamedTuple):
    """Stops and failures that began in a span: long stops, failures, µs to restore them (all of it)."""

    long_stops: int = 0
    failures: int = 0
    restore_us: int = 0

    def plus(self, other: Events) -> Events:
        """The sums of disjoint spans or of several machines."""
        return Events(*(a + b for a, b in zip(self, other, strict=True)))


def events(stops: Iterable[Stop], span: Interval) -> Events:
    """What began in ``span`` = [start, end) of the ``stops`` that have planned time in it.

    A failure is a stop with a fault in it; it counts once, where its stop begins, with all its time to restore.
    """
    begun = [stop for stop in stops if span[0] <= stop.start_us < span[1]]
    restored = [stop.restore_us for stop in begun if stop.restore_us is not None]
    return Events(sum(stop.long for stop in begun), len(restored), sum(restored))


@dataclass(frozen=True, slots=True)
class KpiSums:
    """The sums from which the KPIs follow. Disjoint sums add with ``+``.

    ``failed`` and ``operating_us`` (APT + AUST) hold only machines that tell faults, ``judged`` and ``scrap`` only
    the parts of machines that tell scrap, ``energy`` only machines that tell energy. ``faults`` and ``scraps``
    hold whether any machine tells them, and whether any does not.
    """

    oee: OeeSums = field(default_factory=OeeSums)
    elements: TimeElements = field(default_factory=TimeElements)
    events: Events = field(default_factory=Events)
    energy: EnergySums = field(default_factory=EnergySums)
    failed: Events = field(default_factory=Events)
    operating_us: int = 0
    judged: int = 0
    scrap: int = 0
    faults: Told = (False, False)
    scraps: Told = (False, False)

    @classmethod
    def of(
        cls,
        elements: TimeElements,
        production: Production,
        events: Events,
        energy: EnergySums,
        *,
        tells_faults: bool,
        tells_scrap: bool,
    ) -> KpiSums:
        """The sums of one machine and span, all for the same span; ``energy`` is empty where it tells none."""
        made = production.all_parts
        return cls(
            OeeSums.of(elements, production),
            elements,
            events,
            energy,
            events if tells_faults else Events(),
            (elements.production_us + elements.setup_us) * tells_faults,
            made.total * tells_scrap,
            made.scrap * tells_scrap,
            (tells_faults, not tells_faults),
            (tells_scrap, not tells_scrap),
        )

    def __add__(self, other: KpiSums) -> KpiSums:
        return KpiSums(
            self.oee + other.oee,
            self.elements + other.elements,
            self.events.plus(other.events),
            self.energy + other.energy,
            self.failed.plus(other.failed),
            self.operating_us + other.operating_us,
            self.judged + other.judged,
            self.scrap + other.scrap,
            _either(self.faults, other.faults),
            _either(self.scraps, other.scraps),
        )


def kpis(sums: KpiSums) -> dict[str, Figure]:
    """Every KPI by name, in the order in which they are shown.

    Ratios of time have µs in their terms, mean times s, ``parts_per_busy_hour`` parts and h. What cannot be told
    has no value and a hint.
    """
    found = [*oee(sums.oee).values(), _nee(sums), *_ratios(sums), _per_hour(sums), _scrap(sums)]
    found += [*_mean_times(sums), *_energy(sums)]
    return {figure.name: figure for figure in found}


def _ratios(sums: KpiSums) -> list[Figure]:
    e, coverage = sums.elements, sums.oee.coverage
    processing = e.production_us + e.setup_us
    busy = processing + e.delay_us
    terms = (
        ("utilization_efficiency", e.production_us, busy),
        ("allocation_efficiency", busy, e.planned_busy_us),
        ("technical_efficiency", e.production_us, e.production_us + e.delay_us),
        ("setup_ratio", e.setup_us, processing),
    )
    return [Figure(name, above, below, coverage=coverage) for name, above, below in terms]


def _nee(sums: KpiSums) -> Figure:
    """AUPT ÷ PBT · effectiveness · quality ratio, as one fraction over the planned busy time."""
    own, e = sums.oee, sums.elements
    known = not own.unplanned and e.production_us
    good = own.planned_good_us * (e.production_us + e.setup_us) / e.production_us if known else None
    too_long = HINT_TOO_LONG if good is not None and good > e.planned_busy_us > 0 else ""
    hint = HINT_NO_PLAN if own.unplanned else too_long
    return Figure("net_equipment_effectiveness", good, e.planned_busy_us, "1", own.coverage, own.estimate, hint)


def _per_hour(sums: KpiSums) -> Figure:
    made = sums.oee.produced - sums.oee.across_gap
    hours = Fraction(sums.elements.planned_busy_us, HOUR_US)
    return Figure("parts_per_busy_hour", made, hours, "1/h", sums.oee.coverage)


def _scrap(sums: KpiSums) -> Figure:
    hint = _told(sums.scraps, HINT_NO_SCRAP, HINT_SOME_SCRAP)
    scrap = sums.scrap if sums.scraps[0] else None
    return Figure("scrap_ratio", scrap, sums.judged, "1", sums.oee.coverage, hint=hint)


def _mean_times(sums: KpiSums) -> list[Figure]:
    told, failures, stops = sums.faults[0], sums.failed.failures, sums.events.long_stops
    unsaid = _told(sums.faults, HINT_NO_FAULTS, HINT_SOME_FAULTS) or ("" if failures else HINT_NO_FAILURE)
    terms: tuple[tuple[str, int | None, int, str], ...] = (
        ("mean_time_between_long_stops", sums.elements.production_us, stops, "" if stops else HINT_NO_STOP),
        ("mean_time_between_failures", sums.operating_us if told else None, failures, unsaid),
        ("mean_time_to_restore", sums.failed.restore_us if told else None, failures, unsaid),
    )
    return [Figure(n, _seconds(us), count, "s", sums.oee.coverage, hint=hint) for n, us, count, hint in terms]


def _energy(sums: KpiSums) -> list[Figure]:
    found = energy_figures(sums.energy)
    return [found["energy_per_part"], found["energy_per_good_part"]]


def _seconds(us: int | None) -> Exact | None:
    return None if us is None else Fraction(us, SECOND_US)


def _told(told: Told, none: str, some: str) -> str:
    return none if not told[0] else some if told[1] else ""


def _either(left: Told, right: Told) -> Told:
    return left[0] or right[0], left[1] or right[1]


class Untold(NamedTuple):
    """A KPI of ISO 22400-2 that is not computed: formula in the standard's abbreviations, and what is missing."""

    name: str
    formula: str
    reason: str


UNTOLD = (
    Untold("throughput_rate", "PQ ÷ AOET", "orders are not told; see parts_per_busy_hour"),
    Untold("allocation_ratio", "Σ AUBT ÷ AOET", "orders are not told; see allocation_efficiency"),
    Untold("production_process_ratio", "Σ APT ÷ AOET", "orders are not told; see utilization_efficiency"),
    Untold("rework_ratio", "RQ ÷ PQ", "no signal tells reworked parts"),
    Untold("first_pass_yield", "GP ÷ IP", "parts are counted, not followed one by one"),
    Untold("actual_to_planned_scrap_ratio", "SQ ÷ PSQ", "the plant file has no planned scrap"),
    Untold("fall_off_ratio", "SQ ÷ PQ of the first operation", "the order of operations is not told"),
    Untold("corrective_maintenance_ratio", "CMT ÷ (CMT + PMT)", "no signal tells repair from planned maintenance"),
)

FIGURES = (
    Definition(
        "net_equipment_effectiveness",
        "(actual_production_time + actual_setup_time) ÷ planned_busy_time · effectiveness · quality_ratio",
        "1",
        "NEE: OEE in which setting up is no loss",
        ISO,
    ),
    Definition(
        "utilization_efficiency",
        "actual_production_time ÷ (actual_production_time + actual_setup_time + actual_delay_time)",
        "1",
        "APT ÷ AUBT: production in the time in which the machine was busy",
        ISO,
    ),
    Definition(
        "allocation_efficiency",
        "(actual_production_time + actual_setup_time + actual_delay_time) ÷ planned_busy_time",
        "1",
        "AUBT ÷ PBT: how much of the planned busy time the machine was busy",
        ISO,
    ),
    Definition(
        "technical_efficiency",
        "actual_production_time ÷ (actual_production_time + actual_delay_time)",
        "1",
        "APT ÷ (APT + ADET): production without delays",
        ISO,
    ),
    Definition(
        "setup_ratio",
        "actual_setup_time ÷ (actual_production_time + actual_setup_time)",
        "1",
        "AUST ÷ AUPT: setting up in the processing time",
        ISO,
    ),
    Definition(
        "parts_per_busy_hour",
        "(produced − across_gap) ÷ planned_busy_time",
        "1/h",
        "throughput; by planned busy time, for order times are not told",
        OURS,
    ),
    Definition("scrap_ratio", "scrap ÷ produced", "1", "SQ ÷ PQ, of machines that tell scrap", ISO),
    Definition(
        "mean_time_between_long_stops",
        "actual_production_time ÷ long stops",
        "s",
        "production from one long stop to the next",
        OURS,
    ),
    Definition(
        "mean_time_between_failures",
        "(actual_production_time + actual_setup_time) ÷ failures",
        "s",
        "MTBF = Σ TBF ÷ FE, of machines that tell faults; a failure is a stop with a fault in it",
        ISO,
    ),
    Definition(
        "mean_time_to_restore",
        "Σ planned time from the fault to the end of its stop ÷ failures",
        "s",
        "MTTR = Σ TTR ÷ FE",
        ISO,
    ),
)
