"""What must hold when a machine was out of sight for a while, whatever the reason was."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import pytest

from .accounts import KINDS, Span, Told, true_account
from .api import Row
from .truth import Truth
from .works import Works

WHOLE = ("complete", "aborted")


@dataclass(frozen=True)
class Outage:
    """Bounds, in plant time: the gap begins within ``begins`` of its machine and ends within ``ends``."""

    begins: dict[str, Span]
    ends: Span


class Watch:
    """Takes the times around an outage."""

    def __init__(self, works: Works, now: Iterable[Row]) -> None:
        """Just before it; ``now`` is what the API tells of each machine then."""
        self._works = works
        self._seen_us = {row["machine"]: row["at_us"] for row in now}

    def lost(self) -> None:
        """The connection does not exist any more."""
        self._lost_us = self._works.plant_us

    def returning(self) -> None:
        """From here on it may exist again."""
        self._returning_us = self._works.plant_us

    def back(self) -> Outage:
        """Every machine is in sight."""
        begins = {machine: Span(seen_us, self._lost_us) for machine, seen_us in self._seen_us.items()}
        return Outage(begins, Span(self._returning_us, self._works.plant_us))


def assert_true_but_for_gaps(told: Told, truth: Truth, outages: Sequence[Outage]) -> None:
    """Outside of the gaps everything is true, the gaps are those outages, and over all no part is missing."""
    assert_gaps(told, outages)
    assert_tiled(told)
    for span in told.observed:
        assert_account(told, truth, span)
    assert_cycles(told, truth)
    assert_parts(told, truth)
    assert_nothing_twice(told)


def assert_gaps(told: Told, outages: Sequence[Outage]) -> None:
    """One gap for each outage, no wider than it was, and nothing of it is told as observed."""
    assert len(told.gaps) == len(outages)
    for gap, outage in zip(told.gaps, outages, strict=True):
        begins = outage.begins[told.machine]
        assert begins.start_us <= gap["start_us"] <= begins.end_us
        assert outage.ends.start_us <= gap["end_us"] <= outage.ends.end_us
        assert not gap["open"]
    unobserved = [row for row in told.conditions if row["condition"] == "unobserved"]
    assert [(u["start_us"], u["end_us"]) for u in unobserved] == [(g["start_us"], g["end_us"]) for g in told.gaps]
    assert len(told.observed) == len(outages) + 1


def assert_tiled(told: Told) -> None:
    """Conditions follow one another without hole or overlap, each another one than before."""
    for before, after in pairwise(told.conditions):
        assert before["end_us"] == after["start_us"]
        assert before["condition"] != after["condition"]


def assert_account(told: Told, truth: Truth, span: Span) -> None:
    """In a span of sight everything is told as it was."""
    account, true = told.account(span), true_account(truth, told.machine, span)
    assert account.cycles == true.cycles
    assert account.steps == true.steps
    assert account.tools == true.tools
    assert account.cycle_energy == pytest.approx(true.cycle_energy, rel=1e-6)
    assert account.conditions == true.conditions
    assert account.parts == true.parts
    assert account.lives == true.lives
    assert account.alarms == true.alarms


def assert_cycles(told: Told, truth: Truth) -> None:
    """A cycle told as whole is one that was, even where it went on through a gap; the others end at an edge."""
    real = {(c["start_us"], c["end_us"], c["outcome"], c["parts"]) for c in truth.of(told.machine, "cycle")}
    edges = {edge for span in told.observed for edge in span}
    for cycle in told.cycles:
        start, end, outcome = cycle["start_us"], cycle["end_us"], cycle["outcome"]
        if cycle["open"]:
            continue
        if outcome in WHOLE:
            assert (start, end, outcome, cycle["parts"]) in real
        else:
            assert outcome == "partial"
            assert {start, end} & edges, cycle
    for span in told.observed:
        crossing = [c for c in told.cycles if c["start_us"] < span.end_us < c["end_us"]]
        assert all(c["outcome"] in WHOLE for c in crossing)


def assert_parts(told: Told, truth: Truth) -> None:
    """All parts are there; those made out of sight are told as such, when the machine came back."""
    first, last = told.span
    ended = [c for c in truth.of(told.machine, "cycle") if first < c["end_us"] <= last]
    unseen = [c for c in ended if any(g["start_us"] < c["end_us"] <= g["end_us"] for g in told.gaps)]
    across = [c for c in told.counts if c["across_gap"]]
    assert _quantities(told.counts) == _made(ended)
    assert _quantities(across) == _made(unseen)
    assert {c["time_us"] for c in across} <= {g["end_us"] for g in told.gaps}


def _quantities(counts: Iterable[Row]) -> dict[str, int]:
    return {kind: sum(c["quantity"] for c in counts if c["count_kind"] == kind) for kind in KINDS}


def _made(cycles: Iterable[Row]) -> dict[str, int]:
    made, scrap = (sum(c[name] for c in cycles) for name in ("parts", "scrap"))
    return {"total": made, "good": made - scrap, "scrap": scrap}


def assert_nothing_twice(told: Told) -> None:
    """Nothing overlaps another of its kind, and no moment is told twice."""
    for rows in (told.conditions, told.cycles, told.gaps, told.alarms, told.energy):
        assert all(before["end_us"] <= after["start_us"] for before, after in pairwise(rows))
    counted = [(c["time_us"], c["count_kind"]) for c in told.counts]
    assert len(set(counted)) == len(counted)
    by_pot: dict[str, list[Row]] = {}
    for life in told.lives:
        by_pot.setdefault(life["pot"], []).append(life)
    for lives in by_pot.values():
        assert all(before["end_us"] <= after["start_us"] for before, after in pairwise(lives))
