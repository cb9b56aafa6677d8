"""What facts rest on: which signal cuts a machine's cycles, and which steps of a cycle its signals tell, how well.

Pure; interpretation goes by it and the API shows it, so that neither can say what the other does not do.
"""

from __future__ import annotations

from collections.abc import Collection

from swarfline.facts import CUTTING, HELD, OTHER, POSITIONING, TOOL_CHANGE

BOUNDS = ("program_state", "cycle_count", "part_count", "executing")
"""What can cut cycles, in order of preference."""

EXACT, BY_LOAD, BY_SPEED, TOOL_ONLY, NOT_KNOWN = "exact", "load", "speed", "tool", "not"
STEP_GROUNDS = (EXACT, BY_LOAD, BY_SPEED, TOOL_ONLY, NOT_KNOWN)
"""How well steps are known, best first.

``exact``: the machine tells tool changes and positioning, and the spindle's load tells cutting. ``load``: the load
tells cutting, but not all of the rest is told. ``speed``: cutting is the time in which the spindle turns, which is
the most that it can be. ``tool``: only which tool sat in the spindle. ``not``: nothing of it.
"""


def cycle_bounds(signals: Collection[str], chosen: str | None = None) -> str:
    """What cuts the cycles of a machine that offers these signals: as ``chosen``, else the best offered."""
    return chosen or next((bound for bound in BOUNDS if bound in signals), BOUNDS[-1])


def cutting_signals(signals: Collection[str], chosen: str | None = None) -> frozenset[str]:
    """Those of the signals offered that conditions and cycles depend on; ``chosen``: what cuts cycles, if set."""
    bounds = cycle_bounds(signals, chosen)
    states = {"state"} if "state" in signals else {"executing"}
    looped = {"cycle_count"} if bounds == "program_state" else set()
    asked = states | looped | {bounds, "program_state", "mode", "feed_hold", "feed_override", "alarm"}
    return frozenset(asked & set(signals))


def why_bounds(signals: Collection[str], chosen: str | None = None) -> str:
    """Why it is that one, as a sentence for people."""
    if chosen:
        return "the plant file says so"
    offered = [bound for bound in BOUNDS if bound in signals]
    if not offered:
        return "no other signal is mapped: a cycle lasts as long as the machine executes"
    return f"the best of those mapped: {', '.join(offered)}" if len(offered) > 1 else "the only one mapped"


def step_grounds(signals: Collection[str]) -> str:
    """One of STEP_GROUNDS: how well the steps are known of a machine that offers these signals."""
    if "spindle_load" in signals:
        return EXACT if {"tool_changing", "positioning"} <= set(signals) else BY_LOAD
    if "spindle_speed" in signals:
        return BY_SPEED
    return TOOL_ONLY if "active_tool" in signals else NOT_KNOWN


def changes_by_speed(signals: Collection[str]) -> bool:
    """Whether a tool change is the standstill of the spindle in which the tool changes, for want of better."""
    return "tool_changing" not in signals and {"active_tool", "spindle_speed"} <= set(signals)


def steps_known(signals: Collection[str]) -> list[str]:
    """Which steps a machine that offers these signals can be told apart in."""
    known = [HELD, OTHER]
    if "tool_changing" in signals or changes_by_speed(signals):
        known.append(TOOL_CHANGE)
    if "positioning" in signals:
        known.append(POSITIONING)
    if "spindle_load" in signals or "spindle_speed" in signals:
        known.append(CUTTING)
    return known
