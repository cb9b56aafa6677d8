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
    return found


def _row(ordeal: Ordeal, name: str, title: str, found_after_s: float | None, span: Span) -> Row:
    told, truth = ordeal.told[name], ordeal.truth[name]
    gaps_us = [gap["end_us"] - gap["start_us"] for gap in told.gaps]
    gap_s = sum(gaps_us) / SPEED / 1e6 if gaps_us else None
    other = beside(ordeal.told[BESIDE], ordeal.truth[BESIDE], span)
    return Row(title, found_after_s, gap_s, counted_twice(told, truth), lost(told, truth), other)


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


def lost(told: Told, truth: Truth) -> int:
    """Parts too few, and facts of the times in sight that are not told."""
    made, counted = parts(told, truth)
    return max(0, made - counted) + sum(_missing(told, truth, span) for span in told.observed)


def _missing(told: Told, truth: Truth, span: Span) -> int:
    account, true = told.account(span), true_account(truth, told.machine, span)
    pairs: Sequence[tuple[list[tuple[Any, ...]], list[tuple[Any, ...]]]] = (
        (account.cycles, true.cycles), (account.lives, true.lives), (account.alarms, true.alarms),
    )  # fmt: skip
    return sum(one not in known for known, real in pairs for one in real)


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
