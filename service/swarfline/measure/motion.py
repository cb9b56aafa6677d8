"""How long a machine moves between two cuts: tool changes, and rotary axes that turn and clamp.

An axis turns with constant acceleration up to its greatest speed (elementary kinematics of the trapezoidal and the
triangular profile). Typical values are common practice, without a source.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import sqrt
from typing import NamedTuple

DEG_S_PER_RPM = 6.0

ALL, AXES, NONE = "all", "axes", "none"
"""What moves at once: tool change and axes, only the axes with one another, or nothing."""


@dataclass(frozen=True, slots=True)
class Axis:
    """A rotary axis: greatest speed in 1/min, acceleration in degrees/s², time to clamp and settle in s."""

    max_rpm: float
    acceleration_deg_s2: float
    clamp_s: float = 0.0

    def turn_s(self, angle_deg: float) -> float:
        """Seconds to turn by ``angle_deg`` (its sign does not matter) and to clamp; 0 for an angle of 0.

        θ/ω + ω/α where the greatest speed ω is reached (θ ≥ ω²/α), else 2·√(θ/α).
        """
        theta, top = abs(angle_deg), self.max_rpm * DEG_S_PER_RPM
        if not theta:
            return 0.0
        if theta >= top * top / self.acceleration_deg_s2:
            return theta / top + top / self.acceleration_deg_s2 + self.clamp_s
        return 2 * sqrt(theta / self.acceleration_deg_s2) + self.clamp_s


class Between(NamedTuple):
    """Seconds between two cuts by step of the cycle; their sum is how long it takes on the clock."""

    tool_change_s: float
    positioning_s: float
    other_s: float

    @property
    def all_s(self) -> float:
        """On the clock."""
        return self.tool_change_s + self.positioning_s + self.other_s


@dataclass(frozen=True, slots=True)
class Motion:
    """A machine's times: of the tool change alone, of it from chip to chip (ways to and fro in), and its axes."""

    tool_to_tool_s: float
    chip_to_chip_s: float
    axes: Mapping[str, Axis] = field(default_factory=dict)
    at_once: str = ALL

    def between(self, change: bool, turns_deg: Mapping[str, float]) -> Between:
        """From one cut to the next, with a tool change or not, turning each axis by its angle.

        As measured cycles are split: what goes on during a tool change is the tool change's, positioning is what
        it costs beyond, and the ways to and fro are ``other``. Raises KeyError for an axis that is not there.
        """
        turns = [self.axes[name].turn_s(angle) for name, angle in turns_deg.items()]
        turn_s = sum(turns) if self.at_once == NONE else max(turns, default=0.0)
        if not change:
            return Between(0.0, turn_s, 0.0)
        if self.at_once == ALL:
            longest = max(self.tool_to_tool_s, turn_s)
            ways_s = max(0.0, self.chip_to_chip_s - longest)
            return Between(self.tool_to_tool_s, longest - self.tool_to_tool_s, ways_s)
        return Between(self.tool_to_tool_s, turn_s, self.chip_to_chip_s - self.tool_to_tool_s)
