"""One machine judged: each field of what the API tells of it beside the same field of the truth."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from typing import Any

from .accounts import KINDS, Account, Span, Told, true_account
from .api import EPOCH, Api, Row
from .outages import WHOLE
from .reckoned import ZONE, Reckoned, Reckoning, at_us, without
from .troubled import QUARTER_US, Notes
from .truth import Truth

BY_COUNTER = ("S1", "S2")
"""Machines whose energy is counted and not added up from power."""
CONDITIONS = ("producing", "waiting", "held", "fault", "setup", "out_of_service", "off")
RATIOS = ("availability", "effectiveness", "quality_ratio", "oee")
EXACT = 1e-9
METERED = 1e-6
"""Of energies: an energy counter in the tens of millions of Wh, kept as a floating number, has this step."""


@dataclass(frozen=True)
class Cell:
    """One field: what is told, what is true, and by how much the two may differ as a share."""

    row: str
    machine: str
    told: Any
    true: Any
    tolerance: float = 0.0

    @property
    def fits(self) -> bool:
        """Whether what is told is true."""
        if self.told is None or self.true is None or not self.tolerance:
            return bool(self.told == self.true)
        return bool(abs(self.told - self.true) <= self.tolerance * max(1.0, abs(self.true)))

    def __str__(self) -> str:
        return _short(self.told) if self.fits else f"{_short(self.told)}≠{_short(self.true)}"


def _short(value: Any) -> str:
    if value is None:
        return "-"
    return f"{value:.4f}" if isinstance(value, float) and abs(value) < 10 else f"{value:.0f}"


def judge(api: Api, truth: Truth, machine: str, notes: Notes, span: Span) -> list[Cell]:
    """Every field of one machine over a span."""
    told = Told(api, machine, span.start_us)
    reckoning = Reckoning(truth, machine, notes, span)
    seen = [Span(*piece) for piece in without(span, notes.gaps)]
    pairs = [(told.account(piece), true_account(truth, machine, piece)) for piece in seen]
    rows = [
        *_troubles(told, notes),
        *_in_sight(pairs),
        *_out_of_sight(told, truth, notes, seen),
        *_figures(api, machine, reckoning, span),
        *_days(api, machine, reckoning, span),
        *_losses(api, machine, reckoning, span),
        *_energy(api, machine, reckoning, pairs, span),
    ]
    return [Cell(name, machine, *more) for name, *more in rows]


Found = Iterator[tuple[Any, ...]]


def _wrong(pairs: Sequence[tuple[Any, Any]]) -> int:
    """How many items of pairs of lists are not the same in both."""
    count = 0
    for left, right in pairs:
        count += sum(a != b for a, b in zip(left, right, strict=False)) + abs(len(left) - len(right))
    return count


def _far(pairs: Sequence[tuple[Any, Any]]) -> int:
    """How many numbers of pairs of lists differ by more than an energy counter's step."""
    count = 0
    for left, right in pairs:
        count += sum(abs(a - b) > METERED * max(1.0, abs(b)) for a, b in zip(left, right, strict=False))
        count += abs(len(left) - len(right))
    return count


def _troubles(told: Told, notes: Notes) -> Found:
    gaps = [(gap["start_us"], gap["end_us"]) for gap in told.gaps]
    yield "gaps", len(gaps), len(notes.gaps)
    yield "gaps with other edges", _wrong([(gaps, [tuple(gap) for gap in notes.gaps])]), 0
    yield "s out of sight", sum(b - a for a, b in gaps) / 1e6, sum(b - a for a, b in notes.gaps) / 1e6, EXACT
    yield "counters reset", notes.resets, notes.resets
    yield "counters rolled over", notes.rolled, notes.rolled


def _in_sight(pairs: Sequence[tuple[Account, Account]]) -> Found:
    def both(name: str) -> list[tuple[Any, Any]]:
        return [(getattr(a, name), getattr(b, name)) for a, b in pairs]

    for outcome in WHOLE:
        yield f"cycles {outcome}", *(sum(x[n].outcomes.get(outcome, 0) for x in pairs) for n in (0, 1))
    yield "cycles that differ", _wrong(both("cycles")), 0
    yield "cycles with other steps", _wrong(both("steps")), 0
    yield "cycles with other tools", _wrong(both("tools")), 0
    yield "cycles with other energy", _far(both("cycle_energy")), 0
    for kind in KINDS:
        yield f"parts {kind}", *(sum(x[n].parts[kind] for x in pairs) for n in (0, 1))
    yield "condition pieces", *(sum(len(x[n].conditions) for x in pairs) for n in (0, 1))
    yield "condition pieces that differ", _wrong(both("conditions")), 0
    for condition in CONDITIONS:
        yield f"s {condition}", *(sum(x[n].seconds.get(condition, 0.0) for x in pairs) for n in (0, 1)), EXACT
    yield "tool lives ended", *(sum(len(x[n].lives) for x in pairs) for n in (0, 1))
    yield "tool lives that differ", _wrong(both("lives")), 0
    yield "alarms", *(sum(len(x[n].alarms) for x in pairs) for n in (0, 1))
    yield "alarms that differ", _wrong(both("alarms")), 0


def _out_of_sight(told: Told, truth: Truth, notes: Notes, seen: Sequence[Span]) -> Found:
    across = [c for c in told.counts if c["across_gap"]]
    for kind in KINDS:
        counted = sum(c["quantity"] for c in across if c["count_kind"] == kind)
        yield f"parts {kind} across gaps", counted, notes.across(kind)
    real = {(c["start_us"], c["end_us"], c["outcome"], c["parts"]) for c in truth.of(told.machine, "cycle")}
    whole = [c for c in told.cycles if c["outcome"] in WHOLE and not any(s.holds(c) for s in seen)]
    found = [(c["start_us"], c["end_us"], c["outcome"], c["parts"]) for c in whole]
    yield "cycles whole through gaps", len(found), len([c for c in found if c in real])
    edges = {edge for span in seen for edge in span}
    partial = [c for c in told.cycles if c["outcome"] == "partial" and not c["open"]]
    yield "partial cycles", len(partial), len([c for c in partial if {c["start_us"], c["end_us"]} & edges])


def _asked(span: Span, **more: Any) -> dict[str, Any]:
    first, last = (EPOCH + timedelta(microseconds=us) for us in span)
    return {"from": first.isoformat(), "to": last.isoformat(), **more}


def _of_oee(row: Row, true: Reckoned) -> Found:
    times, parts = row["times"], row["parts"]
    yield "planned s", times["planned_time_s"], true.planned_us / 1e6, EXACT
    yield "unobserved s", times["unobserved_time_s"], true.unobserved_us / 1e6, EXACT
    yield "planned busy s", times["planned_busy_time_s"], true.busy_us / 1e6, EXACT
    yield "production s", times["actual_production_time_s"], true.production_us / 1e6, EXACT
    yield "producing outside s", times["producing_outside_time_s"], true.producing_outside_us / 1e6, EXACT
    yield "produced", parts["produced"], true.made("total")
    yield "scrap", parts["scrap"], true.made("scrap")
    yield "across_gap", parts["across_gap"], true.across["total"]
    for name in RATIOS:
        yield name, row["figures"][name]["value"], true.ratios[name], EXACT


def _figures(api: Api, machine: str, reckoning: Reckoning, span: Span) -> Found:
    (row,) = api.rows("/oee", **_asked(span, machine=machine))
    for name, *more in _of_oee(row, reckoning.figures(span)):
        yield f"oee: {name}", *more


def _days(api: Api, machine: str, reckoning: Reckoning, span: Span) -> Found:
    """Each day of the plant's calendar by itself."""
    wrong = 0
    rows = api.rows("/oee", **_asked(span, machine=machine, by="day"))
    for row in rows:
        found = _of_oee(row, reckoning.figures(Span(row["from_us"], row["to_us"])))
        wrong += any(not Cell(*(name, machine, *more)).fits for name, *more in found)
    first = datetime.fromtimestamp(span.start_us / 1e6, ZONE).date()
    days = [first + timedelta(days=n) for n in range(len(rows) + 1)]
    edges = [min(at_us(day, time()), span.end_us) for day in days]
    yield "days", len(rows), (datetime.fromtimestamp(span.end_us / 1e6, ZONE).date() - first).days
    yield "days with other edges", _wrong([([row["from_us"] for row in rows], edges[:-1])]), 0
    yield "days with other figures", wrong, 0


def _losses(api: Api, machine: str, reckoning: Reckoning, span: Span) -> Found:
    true = reckoning.stops_us()
    rows = api.rows("/losses", **_asked(span, machine=machine))
    for row in rows:
        if row["length"]:
            name = f"loss: {row['loss']} {row['length']} s"
            yield name, row["time_s"], true[row["loss"], row["length"]] / 1e6, EXACT
    busy = reckoning.figures(span).busy_us / 1e6
    yield "loss: sum s", sum(row["time_s"] for row in rows), busy, EXACT


def _energy(
    api: Api, machine: str, reckoning: Reckoning, pairs: Sequence[tuple[Account, Account]], span: Span
) -> Found:
    (row,) = api.rows("/energy", **_asked(span, machine=machine))
    total = row["energy"]["value"] * 1000
    # a counter tells a quarter at the beginning of the next one, and the stream ends before that
    unread = span.end_us - QUARTER_US if machine in BY_COUNTER else None
    quarters = [(a.quarters, {q: wh for q, wh in b.quarters.items() if q != unread}) for a, b in pairs]
    yield "quarters in sight", *(sum(len(x[n]) for x in quarters) for n in (0, 1))
    yield "quarters that differ", _far([([a.get(q, -1.0) for q in b], list(b.values())) for a, b in quarters]), 0
    if machine in BY_COUNTER:
        meter = reckoning.notes.meter
        yield "energy: total Wh", total, meter[-1] - meter[0], METERED
        return
    true = reckoning.energy_wh()
    yield "energy: total Wh", total, sum(true.values()), METERED
    for condition in CONDITIONS:
        told = row["by_condition"][f"{condition}_kwh"]
        yield f"energy: {condition} Wh", None if told is None else told * 1000, true.get(condition), METERED
    peak = max((wh * 4 / 1000 for _, b in pairs for wh in b.quarters.values()), default=None)
    if row["demand_peak_coverage_pct"] == 100:
        yield "energy: peak kW", row["demand_peak_kw"], peak, METERED
