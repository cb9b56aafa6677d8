"""Tools and how their lives are used up."""

from __future__ import annotations

from dataclasses import dataclass

from swarfline_sim.events import Value

COUNT, TIME, DISTANCE = "count", "time", "distance"


@dataclass(frozen=True, slots=True)
class ToolSpec:
    """A tool as it is set up: ``limit`` in 1, s or m by ``basis``; ``load_growth`` is the share by which the
    spindle load has risen when the life is used up.
    """

    number: int
    pot: int
    name: str
    basis: str
    limit: float
    counts_up: bool = True
    warning_share: float = 0.9
    load_growth: float = 0.25


class Life:
    """The life of the tool that sits in a pot now. ``used`` in 1, s or m."""

    __slots__ = ("broken", "installed_us", "spec", "used")

    def __init__(self, spec: ToolSpec, installed_us: int, used: float = 0.0) -> None:
        self.spec = spec
        self.installed_us = installed_us
        self.used = self._tidy(used)
        self.broken = False

    def _tidy(self, amount: float) -> float:
        return round(amount) if self.spec.basis == COUNT else round(amount, 3)

    @property
    def share(self) -> float:
        """Used share of the life; above 1 past the limit."""
        return self.used / self.spec.limit

    @property
    def left(self) -> float:
        """Life left in 1, s or m; negative past the limit."""
        return self.spec.limit - self.used

    @property
    def locked(self) -> bool:
        """The control lets this tool no longer be used."""
        return self.broken or self.used >= self.spec.limit

    def spend(self, cycles: int, cutting_s: float, distance_m: float) -> None:
        """Use up life by what the tool did."""
        amount = {COUNT: float(cycles), TIME: cutting_s, DISTANCE: distance_m}[self.spec.basis]
        self.used = self._tidy(self.used + amount)

    def shown(self) -> tuple[str, Value]:
        """(field, value) of the life as the control counts it, up or down."""
        if self.spec.counts_up:
            return "used", self.used
        return "remaining", self._tidy(self.spec.limit - self.used)


def tool_signal(pot: int, field: str) -> str:
    """Name of the signal of one field of the tool in a pot."""
    return f"tools[{pot}].{field}"


def describe(life: Life) -> list[tuple[str, Value]]:
    """(field, value) of everything a control tells of a tool."""
    spec = life.spec
    limit: Value = int(spec.limit) if spec.basis == COUNT else spec.limit
    warning = spec.limit * spec.warning_share
    level = warning if spec.counts_up else spec.limit - warning
    name = "warning_level" if spec.counts_up else "warning_remaining"
    return [
        ("number", spec.number),
        ("pot", spec.pot),
        ("name", spec.name),
        ("life_basis", spec.basis),
        ("limit", limit),
        (name, round(level) if spec.basis == COUNT else round(level, 3)),
        ("locked", life.locked),
        life.shown(),
    ]
