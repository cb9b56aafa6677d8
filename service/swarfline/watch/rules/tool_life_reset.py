"""A tool's life began anew early, and no stop was seen in which it could have been changed.

That a tool of the same number was put in cannot be told from its number; but it takes a stop. A life that was
reset by hand without one may belong to the worn tool still. The question stands for some hours and then goes.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from swarfline.alerts import Sighting
from swarfline.sentence import N_, Sentence
from swarfline.watch.wording import Seen, life_named, moment, text_of, tool_detail, tool_named, tool_subject

NAME = "tool_life_reset"


@dataclass(frozen=True, slots=True)
class Reset:
    """The beginning of a tool's present life, where the life before it was reset.

    ``used`` and ``limit`` are those of the life before, in the unit of its ``basis``. ``still_us`` is the longest
    time without production, or out of sight, near the reset; None: not looked for.
    """

    machine: str
    pot_key: str
    tool: str
    name: str
    pot: str
    basis: str
    used: float
    limit: float | None
    at_us: int
    still_us: int | None = None


class Settings(Protocol):
    """A part of [alerts.tool_life_reset], with the same meanings."""

    below_pct: float
    stop_s: float
    stands_h: float


def early(reset: Reset, settings: Settings) -> bool:
    """Whether a life ended so early that it is worth asking."""
    return reset.limit is not None and reset.used < reset.limit * settings.below_pct / 100


def see(reset: Reset, settings: Settings, now_us: int) -> Sighting:
    """Whether a reset is to be asked about now."""
    recent = now_us - reset.at_us < settings.stands_h * 3600e6
    unseen = reset.still_us is not None and reset.still_us < settings.stop_s * 1e6
    active = recent and unseen and early(reset, settings)
    detail = {
        **tool_detail(reset),
        "basis": reset.basis,
        "used_before": reset.used,
        "limit": reset.limit,
        "reset_at": moment(reset.at_us),
    }
    return Sighting(
        NAME,
        reset.machine,
        tool_subject(reset),
        active,
        not active,
        text=text_of(say, reset.machine, detail),
        detail=detail,
    )


def say(seen: Seen) -> Sentence:
    """After how much of its life a tool's life began anew."""
    used, limit = seen["used_before"], seen["limit"]
    values = {"tool": tool_named(seen), "used": life_named(used, None, seen["basis"])}
    if not limit:
        text = N_("{tool}: its life began anew after {used}, without a stop; was the tool changed?")
        return Sentence(text, values)
    return Sentence(
        N_(
            "{tool}: its life began anew after {used}, {share:.3g} % of its life, without a stop; "
            "was the tool changed?"
        ),
        {**values, "share": 100 * used / limit},
    )
