"""Which step a cycle is in.

The spindle's load tells cutting; without a load its speed does, which is the most that cutting can be. How well a
machine's steps are known is in ``grounds``.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass

from swarfline.facts import CUTTING, HELD, OTHER, POSITIONING, PRODUCING, STEPS, TOOL_CHANGE, UNOBSERVED
from swarfline.grounds import changes_by_speed
from swarfline.interpret.numbers import number_of

STEP_INDEX: Mapping[str, int] = {step: i for i, step in enumerate(STEPS)}

TURNING_PER_MIN = 1.0
"""A spindle that turns slower than this, either way round, stands: drives at rest show a little noise."""


@dataclass(frozen=True, slots=True)
class StepRule:
    """How the steps of one machine are told: by what it offers."""

    by_load: bool
    by_speed: bool
    changes_by_speed: bool
    cutting_load_pct: float

    @classmethod
    def of(cls, signals: Collection[str], cutting_load_pct: float) -> StepRule:
        """The rule for a machine that offers these signals."""
        load, speed = "spindle_load" in signals, "spindle_speed" in signals
        return cls(load, speed, changes_by_speed(signals), cutting_load_pct)

    def step(self, values: Mapping[str, object], condition: str) -> str:
        """The step at one moment inside a cycle.

        Where a tool change and positioning overlap, the time counts as the tool change's; positioning is only
        what it costs beyond that. So the steps add up to the cycle and simultaneous moves are not counted twice.
        While the machine's state is not known the step is not known either.
        """
        if condition == UNOBSERVED:
            return OTHER
        if condition != PRODUCING:
            return HELD
        if values.get("tool_changing"):
            return TOOL_CHANGE
        if values.get("positioning"):
            return POSITIONING
        return CUTTING if self._cuts(values) else OTHER

    def _cuts(self, values: Mapping[str, object]) -> bool:
        if not self.by_load:
            return self.by_speed and bool(_turns(values.get("spindle_speed")))
        # where no speed is told the load alone must do; a speed that is not known may be none
        if "spindle_speed" in values and not _turns(values["spindle_speed"]):
            return False
        load = number_of(values.get("spindle_load"))
        return load is not None and load > self.cutting_load_pct

    def stands(self, values: Mapping[str, object], condition: str) -> bool:
        """Whether the spindle stands in a running cycle, where that is what tells tool changes."""
        return self.changes_by_speed and condition == PRODUCING and _turns(values.get("spindle_speed")) is False


def _turns(speed: object) -> bool | None:
    """Whether a spindle of this speed turns, None when that is not known."""
    number = number_of(speed)
    return None if number is None else abs(number) >= TURNING_PER_MIN
