"""The same account of one machine over a span, once as the service tells it and once as it really was.

Both are plain data, so that a test compares field by field. Source times are the times of the events themselves
and nothing is sampled away between two messages, so the sampling error is zero: times are compared exactly,
lengths and tool lives to a millionth.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from .api import Api, Row
from .truth import Record, Truth

STEPS = ("cutting_s", "tool_change_s", "positioning_s", "held_s")
KINDS = ("total", "good", "scrap")
QUARTER_US = 900_000_000
SAME = 6


class Span(NamedTuple):
    """A stretch of time in µs UTC."""

    start_us: int
    end_us: int

    def holds(self, row: Row) -> bool:
        """Whether something lies wholly inside, touching neither edge."""
        return self.start_us < row["start_us"] and row["end_us"] < self.end_us

    def has(self, moment_us: int) -> bool:
        """Whether a moment lies inside."""
        return self.start_us < moment_us < self.end_us

    def clip(self, row: Row) -> tuple[int, int]:
        """The part of something that lies inside."""
        return max(self.start_us, row["start_us"]), min(self.end_us, row["end_us"])


@dataclass
class Account:
    """What went on in a span. Energy in Wh; lists in order of time."""

    cycles: list[tuple[Any, ...]] = field(default_factory=list)
    durations_s: list[float] = field(default_factory=list)
    steps: list[tuple[float, ...]] = field(default_factory=list)
    tools: list[dict[str, tuple[float, float]]] = field(default_factory=list)
    cycle_energy: list[float] = field(default_factory=list)
    conditions: list[tuple[int, int, str]] = field(default_factory=list)
    parts: dict[str, int] = field(default_factory=dict)
    lives: list[tuple[str, int, float]] = field(default_factory=list)
    alarms: list[tuple[Any, ...]] = field(default_factory=list)
    quarters: dict[int, float] = field(default_factory=dict)

    @property
    def seconds(self) -> dict[str, float]:
        """Seconds by condition."""
        found: Counter[str] = Counter()
        for start, end, condition in self.conditions:
            found[condition] += end - start
        return {condition: us / 1e6 for condition, us in found.items()}

    @property
    def outcomes(self) -> dict[str, int]:
        """Cycles by outcome."""
        return dict(Counter(cycle[2] for cycle in self.cycles))


class Told:
    """Everything that the service tells of one machine."""

    def __init__(self, api: Api, machine: str, since_us: int | None = None) -> None:
        self.machine = machine
        self.conditions = api.facts(machine, "conditions", since_us)
        self.cycles = api.facts(machine, "cycles", since_us)
        self.counts = api.facts(machine, "counts", since_us)
        self.gaps = api.facts(machine, "gaps", since_us)
        self.lives = api.facts(machine, "tool-lives", since_us)
        self.alarms = api.facts(machine, "alarms", since_us)
        self.energy = api.facts(machine, "energy", since_us)

    @property
    def span(self) -> Span:
        """From first to last sight, gaps included."""
        return Span(self.conditions[0]["start_us"], self.observed[-1].end_us)

    @property
    def observed(self) -> list[Span]:
        """The stretches in which the machine was in sight."""
        spans: list[Span] = []
        for row in self.conditions:
            if row["condition"] == "unobserved":
                continue
            if spans and spans[-1].end_us == row["start_us"]:
                spans[-1] = Span(spans[-1].start_us, row["end_us"])
            else:
                spans.append(Span(row["start_us"], row["end_us"]))
        return spans

    def account(self, span: Span) -> Account:
        """The service's account of a span in which the machine was in sight."""
        cycles = [c for c in self.cycles if span.holds(c) and not c["open"]]
        counts = [c for c in self.counts if span.has(c["time_us"])]
        lives = [f for f in self.lives if not f["open"] and span.has(f["end_us"])]
        return Account(
            [(c["start_us"], c["end_us"], *_what(c)) for c in cycles],
            [c["duration_s"] for c in cycles],
            [tuple(round(c["steps"][step], SAME) for step in STEPS) for c in cycles],
            [_tools(c["tools"], "in_spindle_s") for c in cycles],
            [c["energy_kwh"] * 1000 for c in cycles],
            _clipped(span, self.conditions),
            {kind: sum(c["quantity"] for c in counts if c["count_kind"] == kind) for kind in KINDS},
            sorted((f["tool"], f["end_us"], round(f["used"], 3)) for f in lives),
            [(a["start_us"], a["end_us"], a["code"], a["text"]) for a in self.alarms if span.holds(a)],
            _quarters(span, self.energy),
        )


def true_account(truth: Truth, machine: str, span: Span) -> Account:
    """The simulator's account of a span."""
    cycles = [c for c in truth.of(machine, "cycle") if span.holds(c)]
    ended = [c for c in truth.of(machine, "cycle") if span.has(c["end_us"])]
    made, scrap = (sum(c[name] for c in ended) for name in ("parts", "scrap"))
    lives = [f for f in truth.of(machine, "tool_life") if span.has(f["end_us"])]
    return Account(
        [(c["start_us"], c["end_us"], *_what(c)) for c in cycles],
        [(c["end_us"] - c["start_us"]) / 1e6 for c in cycles],
        [tuple(round(c[step], SAME) for step in STEPS) for c in cycles],
        [_tools(c["tools"], "seconds") for c in cycles],
        [c["energy_wh"] for c in cycles],
        _clipped(span, truth.of(machine, "condition")),
        {"total": made, "good": made - scrap, "scrap": scrap},
        sorted((str(f["tool"]), f["end_us"], round(f["achieved"], 3)) for f in lives),
        [(a["start_us"], a["end_us"], a["code"], a["text"]) for a in truth.of(machine, "alarm") if span.holds(a)],
        {q["start_us"]: q["wh"] for q in truth.of(machine, "energy") if _is_quarter(span, q)},
    )


def _what(cycle: Row | Record) -> tuple[Any, ...]:
    return tuple(cycle[name] for name in ("outcome", "program", "part", "lot", "parts"))


def _tools(used: Iterable[Row], spindle: str) -> dict[str, tuple[float, float]]:
    found = {str(use["tool"]): (round(use[spindle], SAME), round(use["cutting_s"], SAME)) for use in used}
    return {tool: seconds for tool, seconds in found.items() if any(seconds)}


def _clipped(span: Span, conditions: Iterable[Row]) -> list[tuple[int, int, str]]:
    found = [(*span.clip(row), row["condition"]) for row in conditions]
    return [(start, end, condition) for start, end, condition in found if start < end]


def _is_quarter(span: Span, piece: Row) -> bool:
    whole = piece["end_us"] - piece["start_us"] == QUARTER_US
    return whole and span.start_us <= piece["start_us"] and piece["end_us"] <= span.end_us


def _quarters(span: Span, pieces: Iterable[Row]) -> dict[int, float]:
    found: defaultdict[int, float] = defaultdict(float)
    for piece in pieces:
        found[piece["start_us"] // QUARTER_US * QUARTER_US] += piece["energy_kwh"] * 1000
    return {q: wh for q, wh in found.items() if _is_quarter(span, {"start_us": q, "end_us": q + QUARTER_US})}
