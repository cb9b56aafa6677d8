"""What the run came to, fault by fault, as figures and as a table."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from system.accounts import KINDS, Span, Told, true_account
from system.truth import Truth

from .ordeal import SERVICE_FROZEN_S, SPEED, Ordeal
from .trials import BESIDE

HEAD = ("fault", "detected after", "gap recorded", "counted twice", "lost", "other server")

EXACT = ("cycles", "steps", "tools", "conditions", "parts", "lives", "alarms")
"""What is told to the microsecond; energies are sums of floating numbers."""
TOLERANCE_US = 400_000
"""Where clocks are measured: half of the way there and back on a busy machine, with room to spare."""


@dataclass(frozen=True)
class Row:
    """Of one fault: ``twice`` and ``lost`` count parts and facts, of this machine over the whole run."""

    title: str
    found_after_s: float | None
    gap_s: float | None
    twice: int
    lost: int
    other: str

    @property
    def cells(self) -> tuple[str, ...]:
        """As text."""
        found = "no loss" if self.found_after_s is None else f"{self.found_after_s:.2f} s"
        gap = "none" if self.gap_s is None else f"{self.gap_s:.1f} s"
        return self.title, found, gap, str(self.twice), str(self.lost), self.other


def rows(ordeal: Ordeal) -> list[Row]:
    """Every fault's, the frozen service's first."""
    found = [_row(ordeal, BESIDE, f"service frozen (SIGSTOP), {SERVICE_FROZEN_S:.0f} s", None, ordeal.frozen)]
    for name, course in ordeal.courses.items():
        found.append(_row(ordeal, name, course.trial.title, course.found_after_s, course.plant_span))
    beside_clocks = "untouched" if not untrue(*ordeal.steady) else "told wrong"
    for clock in ordeal.clocks.values():
        assert clock.told is not None and clock.truth is not None
        twice = counted_twice(clock.told, clock.truth)
        missing = lost(clock.told, clock.truth, TOLERANCE_US)
        gap = _gap_s(clock.told, 1)
        found.append(Row(clock.title, clock.found_after_s, gap, twice, missing, beside_clocks))
    return found


def _gap_s(told: Told, speed: int) -> float | None:
    gaps_us = [gap["end_us"] - gap["start_us"] for gap in told.gaps]
    return sum(gaps_us) / speed / 1e6 if gaps_us else None


def _row(ordeal: Ordeal, name: str, title: str, found_after_s: float | None, span: Span) -> Row:
    told, truth = ordeal.told[name], ordeal.truth[name]
    other = beside(ordeal.told[BESIDE], ordeal.truth[BESIDE], span)
    return Row(title, found_after_s, _gap_s(told, SPEED), counted_twice(told, truth), lost(told, truth), other)


def beside(told: Told, truth: Truth, span: Span) -> str:
    """How the other machine fared meanwhile."""
    if any(gap["start_us"] < span.end_us and span.start_us < gap["end_us"] for gap in told.gaps):
        return "out of sight"
    account, true = told.account(span), true_account(truth, told.machine, span)
    same = all(getattr(account, name) == getattr(true, name) for name in EXACT)
    return "untouched" if same else "told wrong"


def counted_twice(told: Told, truth: Truth) -> int:
    """Parts too many, moments counted more than once, facts that overlap the one before."""
    made, counted = parts(told, truth)
    counts = [(c["time_us"], c["count_kind"]) for c in told.counts]
    lists = (told.conditions, told.cycles, told.gaps, told.alarms, told.energy)
    overlaps = sum(b["start_us"] < a["end_us"] for rows in lists for a, b in pairwise(rows) if a["end_us"])
    return max(0, counted - made) + len(counts) - len(set(counts)) + overlaps


def lost(told: Told, truth: Truth, tolerance_us: int = 0) -> int:
    """Parts too few, and facts of the times in sight that are not told."""
    made, counted = parts(told, truth)
    missing = sum(_missing(told, truth, span, tolerance_us) for span in told.observed)
    return max(0, made - counted) + missing


def _missing(told: Told, truth: Truth, span: Span, tolerance_us: int) -> int:
    inner = Span(span.start_us + tolerance_us, span.end_us - tolerance_us)
    account, true = told.account(span), true_account(truth, told.machine, inner)
    pairs: Sequence[tuple[list[tuple[Any, ...]], list[tuple[Any, ...]]]] = (
        (account.cycles, true.cycles), (account.lives, true.lives), (account.alarms, true.alarms),
    )  # fmt: skip
    return sum(not any(_same(one, two, tolerance_us) for two in known) for known, real in pairs for one in real)


def _same(one: Sequence[Any], two: Sequence[Any], tolerance_us: int) -> bool:
    """Whether two tuples are the same but for small differences of times."""
    return all(
        a == b or (_is_time(a) and _is_time(b) and abs(a - b) <= tolerance_us)
        for a, b in zip(one, two, strict=True)
    )


def _is_time(value: Any) -> bool:
    return isinstance(value, int) and value > 1_000_000_000_000_000


def untrue(told: Told, truth: Truth) -> list[tuple[Any, Any]]:
    """Conditions and steps of cycles that are told otherwise than they were, or at other times."""
    (span,) = told.observed
    known, real = told.account(span), true_account(truth, told.machine, span)
    pairs = list(zip(known.steps, real.steps, strict=True))
    return _other_conditions(told, truth, span) + [pair for pair in pairs if not _near(*pair)]


def _near(one: Sequence[float], two: Sequence[float]) -> bool:
    """Whether seconds by step are the same but for small differences."""
    return all(abs(a - b) <= TOLERANCE_US / 1e6 for a, b in zip(one, two, strict=True))


def _other_conditions(told: Told, truth: Truth, span: Span) -> list[tuple[Any, Any]]:
    """All but the first and the last, which are cut."""
    known = told.account(span).conditions[1:-1]
    real = [
        one for one in true_account(truth, told.machine, span).conditions if any(_overlap(one, k) for k in known)
    ]
    if len(known) != len(real):
        return [(known, real)]
    return [(k, r) for k, r in zip(known, real, strict=True) if not _same(k, r, TOLERANCE_US)]


def _overlap(one: Sequence[Any], two: Sequence[Any]) -> bool:
    return min(one[1], two[1]) - max(one[0], two[0]) > TOLERANCE_US


def parts(told: Told, truth: Truth) -> tuple[int, int]:
    """Parts made and parts counted, from first to last sight."""
    first, last = told.span
    made = sum(c["parts"] for c in truth.of(told.machine, "cycle") if first < c["end_us"] <= last)
    return made, sum(c["quantity"] for c in told.counts if c["count_kind"] == KINDS[0])


def lines(ordeal_rows: Sequence[Row]) -> list[str]:
    """The table."""
    cells = [HEAD, *(row.cells for row in ordeal_rows)]
    widths = [max(len(row[column]) for row in cells) for column in range(len(HEAD))]
    return [
        "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in cells
    ]
