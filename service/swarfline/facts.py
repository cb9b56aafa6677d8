"""The facts: what happened. Frozen records; times are integer microseconds UTC, half-open [start, end).

Standard library only. A fact with ``open=True`` is still going on; its end is how far it has been observed,
and a later record with the same ``key`` replaces it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar, NamedTuple

UNOBSERVED, OFF, OUT_OF_SERVICE, SETUP = "unobserved", "off", "out_of_service", "setup"
HELD, PRODUCING, FAULT, WAITING = "held", "producing", "fault", "waiting"
CONDITIONS = (UNOBSERVED, OFF, OUT_OF_SERVICE, SETUP, HELD, PRODUCING, FAULT, WAITING)
"""The closed set, in order of precedence."""

COMPLETE, ABORTED, PARTIAL, RUNNING = "complete", "aborted", "partial", "running"
OUTCOMES = (COMPLETE, ABORTED, PARTIAL)

CUTTING, TOOL_CHANGE, POSITIONING, OTHER = "cutting", "tool_change", "positioning", "other"
STEPS = (CUTTING, TOOL_CHANGE, POSITIONING, OTHER, HELD)

TOTAL, GOOD, SCRAP = "total", "good", "scrap"
COUNT_KINDS = (TOTAL, GOOD, SCRAP)


@dataclass(frozen=True, slots=True)
class Condition:
    """A maximal run of one condition of one machine. Conditions tile observed and unobserved time."""

    kind: ClassVar[str] = "condition"
    machine: str
    start_us: int
    end_us: int
    condition: str
    alarm_code: str = ""
    alarm_text: str = ""
    open: bool = False

    @property
    def key(self) -> tuple[str, int]:
        """What identifies the fact among its kind."""
        return (self.machine, self.start_us)


class ToolUse(NamedTuple):
    """One tool's share of one cycle; ``order`` counts from 1 by first use.

    Loads in %, time-weighted mean and peak while cutting, None when not offered; ``life_used`` in the tool's
    life basis (1, s or m), None when the tool has no life.
    """

    tool: str
    order: int
    in_spindle_us: int
    cutting_us: int
    load_mean: float | None = None
    load_peak: float | None = None
    life_used: float | None = None


class StepPiece(NamedTuple):
    """One piece of a cycle's strip: starts ``offset_us`` after the cycle's start, lasts to the next piece."""

    offset_us: int
    step: str
    tool: str


@dataclass(frozen=True, slots=True)
class Cycle:
    """One run of the main program.

    ``step_us`` holds µs by step in the order of STEPS and sums to the duration; ``energy_j`` is None when the
    machine tells no power. ``parts`` counts parts made up to the next cycle's start. ``unobserved_us`` of it the
    machine was out of sight: that time is in the step other, and its tools are not known.
    """

    kind: ClassVar[str] = "cycle"
    machine: str
    start_us: int
    end_us: int
    outcome: str
    program: str = ""
    part: str = ""
    lot: str = ""
    parts: int = 0
    step_us: tuple[int, ...] = (0,) * len(STEPS)
    energy_j: float | None = None
    tools: tuple[ToolUse, ...] = ()
    strip: tuple[StepPiece, ...] = ()
    unobserved_us: int = 0
    open: bool = False

    @property
    def key(self) -> tuple[str, int]:
        """What identifies the fact among its kind."""
        return (self.machine, self.start_us)

    @property
    def duration_us(self) -> int:
        """Length from start to end."""
        return self.end_us - self.start_us

    @property
    def held_us(self) -> int:
        """Time in the cycle in which the machine did not produce."""
        return self.step_us[STEPS.index(HELD)]


@dataclass(frozen=True, slots=True)
class Count:
    """Parts counted at one moment; ``count_kind`` is total, good or scrap.

    ``across_gap`` marks parts made while the machine was not observed: real, but with unknown cycle times.
    """

    kind: ClassVar[str] = "count"
    machine: str
    time_us: int
    count_kind: str
    quantity: int
    part: str = ""
    lot: str = ""
    across_gap: bool = False

    @property
    def key(self) -> tuple[str, int, str]:
        """What identifies the fact among its kind."""
        return (self.machine, self.time_us, self.count_kind)


@dataclass(frozen=True, slots=True)
class ToolLife:
    """The life of one tool, from first sight (or change) to its end; open lives are the tool list.

    A tool that moves keeps its life: ``pot_key`` is the pot in which the life began, ``pot`` the one in which the
    tool sits, empty when the machine tells no pot and the tool never moved. A life that was told as ended by
    another tool may be told again as open, when its tool shows in another pot.

    ``used`` is what was achieved (so far), always counting up; ``limit`` and ``warning_level`` in the same
    sense; units by ``basis``: 1, s or m. ``whole`` is False when the life's beginning was not seen.
    ``reason`` tells why it ended: ``reset`` (used fell), ``replaced`` (another tool in the pot).
    """

    kind: ClassVar[str] = "tool_life"
    machine: str
    pot_key: str
    start_us: int
    end_us: int
    tool: str = ""
    pot: str = ""
    name: str = ""
    basis: str = "count"
    used: float = 0.0
    limit: float | None = None
    warning_level: float | None = None
    locked: bool = False
    whole: bool = False
    reason: str = ""
    open: bool = False

    @property
    def key(self) -> tuple[str, str, int]:
        """What identifies the fact among its kind."""
        return (self.machine, self.pot_key, self.start_us)


@dataclass(frozen=True, slots=True)
class LimitChange:
    """A tool's limit or warning level was changed within a life; ``pot_key`` as in ToolLife."""

    kind: ClassVar[str] = "limit_change"
    machine: str
    pot_key: str
    time_us: int
    tool: str
    field: str
    old: float | None
    new: float | None

    @property
    def key(self) -> tuple[str, str, int, str]:
        """What identifies the fact among its kind."""
        return (self.machine, self.pot_key, self.time_us, self.field)


@dataclass(frozen=True, slots=True)
class Energy:
    """Electrical energy in joules over a piece of time within one condition and one UTC quarter hour.

    ``basis`` is ``counter`` or ``power`` (integrated, each value held until the next).
    """

    kind: ClassVar[str] = "energy"
    machine: str
    start_us: int
    end_us: int
    condition: str
    energy_j: float
    basis: str
    open: bool = False

    @property
    def key(self) -> tuple[str, int]:
        """What identifies the fact among its kind."""
        return (self.machine, self.start_us)


@dataclass(frozen=True, slots=True)
class Gap:
    """An interval in which a machine's readings did not reach us."""

    kind: ClassVar[str] = "gap"
    machine: str
    start_us: int
    end_us: int
    reason: str = ""
    open: bool = False

    @property
    def key(self) -> tuple[str, int]:
        """What identifies the fact among its kind."""
        return (self.machine, self.start_us)


@dataclass(frozen=True, slots=True)
class Alarm:
    """What a machine reported as an alarm, from raised to gone."""

    kind: ClassVar[str] = "alarm"
    machine: str
    start_us: int
    end_us: int
    code: str = ""
    text: str = ""
    open: bool = False

    @property
    def key(self) -> tuple[str, int]:
        """What identifies the fact among its kind."""
        return (self.machine, self.start_us)


Fact = Condition | Cycle | Count | ToolLife | LimitChange | Energy | Gap | Alarm
FACT_KINDS: tuple[type[Fact], ...] = (Condition, Cycle, Count, ToolLife, LimitChange, Energy, Gap, Alarm)
"""Every kind of fact; the store has a table for each, and a test compares the two."""
