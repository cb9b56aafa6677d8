"""Made-up machine time: strategies and builders that the measure tests share."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from hypothesis import strategies as st

from swarfline.calendar import Interval, merge
from swarfline.facts import (
    COMPLETE,
    CONDITIONS,
    GOOD,
    HELD,
    SCRAP,
    STEPS,
    TOTAL,
    Condition,
    Count,
    Cycle,
    ToolUse,
)
from swarfline.measure.production import PartPlan

END = 600
"""Timelines lie in [0, END); short, so that edges meet often."""

SECOND = 1_000_000
MINUTE = 60 * SECOND
HOUR = 60 * MINUTE
WEEK = 7 * 24 * HOUR


def tiled(pieces: Sequence[tuple[int, str]], start: int = 0, machine: str = "N1") -> list[Condition]:
    """Conditions one after another from (length, condition) pairs; an empty condition leaves a hole."""
    facts = []
    for length, condition in pieces:
        if condition and length:
            facts.append(Condition(machine, start, start + length, condition))
        start += length
    return facts


def cycle(start: int, length: int, **more: object) -> Cycle:
    """A complete cycle without holds; ``held`` µs of it may be given, other fields as in Cycle."""
    held = more.pop("held", 0)
    steps = [0] * len(STEPS)
    steps[STEPS.index("other")], steps[STEPS.index(HELD)] = length - held, held
    fields = {"outcome": COMPLETE, "program": "P1", "part": "PH-12", "parts": 1, "step_us": tuple(steps), **more}
    return Cycle("N1", start, start + length, **fields)


def use(tool: str, life: float | None) -> ToolUse:
    """One tool's use in a cycle."""
    return ToolUse(tool, 1, 0, 0, life_used=life)


@st.composite
def timelines(draw: st.DrawFn) -> list[Condition]:
    """A sorted, disjoint timeline, with holes, in which neighbours may be of one condition."""
    pieces = st.tuples(st.integers(1, 80), st.sampled_from([*CONDITIONS, "producing", ""]))
    facts = tiled(draw(st.lists(pieces, max_size=20)), start=draw(st.integers(0, 50)))
    return [f for f in facts if f.end_us <= END]


@st.composite
def plans(draw: st.DrawFn) -> list[Interval]:
    """Planned times, sorted and disjoint."""
    edges = st.tuples(st.integers(0, END), st.integers(1, 150))
    return merge((start, start + length) for start, length in draw(st.lists(edges, max_size=5)))


spans = st.tuples(st.integers(0, END), st.integers(0, END)).map(lambda pair: (min(pair), max(pair)))

counts = st.lists(
    st.builds(
        Count,
        st.just("N1"),
        st.integers(0, END),
        st.sampled_from([TOTAL, TOTAL, GOOD, SCRAP]),
        st.integers(0, 9),
        st.sampled_from(["PH-12", "VC-30"]),
        across_gap=st.booleans(),
    ),
    max_size=12,
)

PLANS = {"PH-12": PartPlan("PH-12", 7, 3), "VC-30": PartPlan("VC-30", 11, 1)}
"""Planned times that are no whole numbers per item, so that a rounding somewhere would be seen."""


def product(figures: Sequence[Fraction]) -> Fraction:
    """Product of exact values."""
    result = Fraction(1)
    for figure in figures:
        result *= figure
    return result
