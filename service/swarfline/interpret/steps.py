"""Which step a cycle is in: cutting is only said where the spindle's load says so, never guessed."""

from __future__ import annotations

from collections.abc import Mapping

from swarfline.facts import CUTTING, HELD, OTHER, POSITIONING, PRODUCING, STEPS, TOOL_CHANGE, UNOBSERVED
from swarfline.interpret.numbers import number_of

STEP_INDEX: Mapping[str, int] = {step: i for i, step in enumerate(STEPS)}


def step_now(values: Mapping[str, object], condition: str, cutting_load_pct: float) -> str:
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
    # where no speed is offered the load alone must do; a speed that is not known may be none
    turning = "spindle_speed" not in values or _above(values["spindle_speed"], 0.0)
    if turning and _above(values.get("spindle_load"), cutting_load_pct):
        return CUTTING
    return OTHER


def _above(value: object, limit: float) -> bool:
    number = number_of(value)
    return number is not None and number > limit


def steps_known(signals: frozenset[str]) -> list[str]:
    """Which steps a machine that offers these signals can be told apart in."""
    known = [HELD, OTHER]
    if "tool_changing" in signals:
        known.append(TOOL_CHANGE)
    if "positioning" in signals:
        known.append(POSITIONING)
    if "spindle_load" in signals:
        known.append(CUTTING)
    return known
