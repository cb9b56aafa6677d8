"""A tool is used on past its limit.

At the limit itself a machine may finish its cycle, and often does; so some cycles of use beyond it are let pass.
A tool that the control has locked cuts no more, and is left to the rule ``tool_near_limit``.
"""

from __future__ import annotations

from typing import Protocol

from swarfline.alerts import URGENT, Sighting
from swarfline.sentence import N_, Sentence
from swarfline.watch.wording import InUse, Seen, life_named, text_of, tool_detail, tool_named, tool_subject

NAME = "tool_past_limit"


class Forecast(InUse, Protocol):
    """What the rule needs to know of one tool: a part of measure's ToolForecast, with the same meanings."""

    @property
    def locked(self) -> bool: ...


class Settings(Protocol):
    """A part of [alerts.tool_past_limit], with the same meanings."""

    over_cycles: float


def see(tool: Forecast, settings: Settings) -> Sighting:
    """Whether a tool is used on; between the limit and what is let pass, all stays as it was."""
    past = tool.limit is not None and not tool.locked and tool.used > tool.limit
    beyond = past and tool.used >= _allowed(tool, settings)
    detail = {
        **tool_detail(tool),
        "basis": tool.basis,
        "used": tool.used,
        "limit": tool.limit,
        "consumption_per_cycle": tool.consumption_per_cycle,
    }
    return Sighting(
        NAME,
        tool.machine,
        tool_subject(tool),
        beyond,
        not past,
        URGENT,
        text_of(say, tool.machine, detail),
        detail,
    )


def _allowed(tool: Forecast, settings: Settings) -> float:
    """The life up to which nothing is said; where no consumption is known, the limit itself."""
    return (tool.limit or 0.0) + settings.over_cycles * (tool.consumption_per_cycle or 0.0)


def say(seen: Seen) -> Sentence:
    """How far a tool has been used."""
    used = life_named(seen["used"], seen["limit"], seen["basis"])
    return Sentence(N_("{tool} is used past its limit: {used} used"), {"tool": tool_named(seen), "used": used})
