"""The KPIs of ISO 22400-2 that a machine's signals allow, as sums over sums, and those that they do not.

How conditions become time elements is told in docs/figures.md; UNTOLD says what is left out and why.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
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

FAULTS, SETUPS, SCRAPS = FAMILIES = ("faults", "setup", "scrap")
"""What some machines do not tell; their time or parts are then left out of the KPIs that need it."""

_SIGNALS = {FAULTS: "alarm", SETUPS: "mode", SCRAPS: "scrap_count"}
HINT_NO_FAILURE = "No failure began in the span."
HINT_NO_STOP = "No long stop began in the span."


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

    ``failed`` and ``of_faults`` hold only machines that tell faults, ``of_setup`` only those that tell setting up,
    ``judged`` and ``scrap`` only the parts of those that tell scrap, ``energy`` only those that tell energy.
    ``telling`` are the FAMILIES that any machine tells, ``silent`` those that any does not.
    """

    oee: OeeSums = field(default_factory=OeeSums)
    elements: TimeElements = field(default_factory=TimeElements)
    of_faults: TimeElements = field(default_factory=TimeElements)
    of_setup: TimeElements = field(default_factory=TimeElements)
    events: Events = field(default_factory=Events)
    failed: Events = field(default_factory=Events)
    energy: EnergySums = field(default_factory=EnergySums)
    judged: int = 0
    scrap: int = 0
    telling: frozenset[str] = frozenset()
    silent: frozenset[str] = frozenset()

    @classmethod
    def of(
        cls,
        elements: TimeElements,
        production: Production,
        events: Events,
        energy: EnergySums,
        tells: Collection[str] = FAMILIES,
    ) -> KpiSums:
        """The sums of one machine and span, all for the same span; ``energy`` is empty where it tells none."""
        made = production.all_parts
        return cls(
            OeeSums.of(elements, production),
            elements,
            elements if FAULTS in tells else TimeElements(),
            elements if SETUPS in tells else TimeElements(),
            events,
            events if FAULTS in tells else Events(),
            energy,
            made.total if SCRAPS in tells else 0,
            made.scrap if SCRAPS in tells else 0,
            frozenset(tells),
            frozenset(FAMILIES).difference(tells),
        )

    def __add__(self, other: KpiSums) -> KpiSums:
        return KpiSums(
            self.oee + other.oee,
            self.elements + other.elements,
            self.of_faults + other.of_faults,
            self.of_setup + other.of_setup,
            self.events.plus(other.events),
            self.failed.plus(other.failed),
            self.energy + other.energy,
            self.judged + other.judged,
            self.scrap + other.scrap,
            self.telling | other.telling,
            self.silent | other.silent,
        )

    def unsaid(self, family: str) -> str:
        """The hint where no machine, or not every one, tells a family; empty where all do."""
        signal = _SIGNALS[family]
        if family not in self.telling:
            return f"No machine here tells {family} (signal '{signal}')."
        return (
            f"Machines that do not tell {family} (signal '{signal}') are left out."
            if family in self.silent
            else ""
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
    e, s = sums.of_faults, sums.of_setup
    busy = e.production_us + e.setup_us + e.delay_us
    terms = (
        ("utilization_efficiency", e.production_us, busy, FAULTS),
        ("allocation_efficiency", busy, e.planned_busy_us, FAULTS),
        ("technical_efficiency", e.production_us, e.production_us + e.delay_us, FAULTS),
        ("setup_ratio", s.setup_us, s.production_us + s.setup_us, SETUPS),
    )
    return [_of(sums, name, above, below, "1", family) for name, above, below, family in terms]


def _of(sums: KpiSums, name: str, above: Exact, below: int, unit: str, family: str, otherwise: str = "") -> Figure:
    """A figure of the machines that tell a family; without any it has no value."""
    numerator = above if family in sums.telling else None
    return Figure(name, numerator, below, unit, sums.oee.coverage, hint=sums.unsaid(family) or otherwise)


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
    return _of(sums, "scrap_ratio", sums.scrap, sums.judged, "1", SCRAPS)


def _mean_times(sums: KpiSums) -> list[Figure]:
    failed, stops = sums.failed, sums.events.long_stops
    between = _seconds(sums.elements.production_us)
    operating = _seconds(sums.of_faults.production_us + sums.of_faults.setup_us)
    count, hint = failed.failures, "" if failed.failures else HINT_NO_FAILURE
    no_stop = "" if stops else HINT_NO_STOP
    return [
        Figure("mean_time_between_long_stops", between, stops, "s", sums.oee.coverage, hint=no_stop),
        _of(sums, "mean_time_between_failures", operating, count, "s", FAULTS, hint),
        _of(sums, "mean_time_to_restore", _seconds(failed.restore_us), count, "s", FAULTS, hint),
    ]


def _energy(sums: KpiSums) -> list[Figure]:
    found = energy_figures(sums.energy)
    return [found["energy_per_part"], found["energy_per_good_part"]]


def _seconds(us: int) -> Fraction:
    return Fraction(us, SECOND_US)


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
