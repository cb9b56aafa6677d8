"""A target that people told, or a lot that could be done by the end of the shift, will be missed.

A target names its time, so every miss of it is told. A lot names none: one that needs days misses every shift's
end and is no news, so only those are told that miss it by little, and only where lots are meant to be done then.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

from swarfline.alerts import Sighting
from swarfline.watch.wording import cut, listed, moment

NAME = "lot_will_not_finish"

LOT, TARGET = "lot", "target"
"""What is to be done, and the alert's subject."""


@dataclass(frozen=True, slots=True)
class Ahead:
    """What is to be done on a machine by a moment, as forecast; None: not known.

    ``what`` is LOT or TARGET, ``name`` the lot's, or the part of a target. ``beyond_us`` is the planned time from
    ``end_us`` to the forecast end of it, 0 when it is done before. ``tools`` will be due before it is done.
    """

    machine: str
    what: str
    name: str = ""
    left: int | None = None
    finish_at_us: int | None = None
    end_us: int | None = None
    beyond_us: int | None = None
    tools: Sequence[str] = ()


class Settings(Protocol):
    """A part of [alerts.lot_will_not_finish], with the same meanings."""

    beyond_min: float
    clear_min: float
    tools: bool


def see(ahead: Ahead, settings: Settings) -> Sighting:
    """Whether a target or the end of the shift will be missed."""
    in_reach = _in_reach(ahead, settings)
    misses = in_reach and bool(ahead.beyond_us)
    due = list(ahead.tools) if settings.tools and in_reach else []
    active = bool(ahead.left) and (misses or bool(due))
    return Sighting(
        NAME,
        ahead.machine,
        ahead.what,
        active,
        not active and _clear(ahead, in_reach, settings),
        text=_text(ahead, misses, due),
        detail={
            "what": ahead.what,
            "name": cut(ahead.name),
            "left": ahead.left,
            "finish_at": moment(ahead.finish_at_us),
            "end_at": moment(ahead.end_us),
            "tools": due[:20],
        },
    )


def _in_reach(ahead: Ahead, settings: Settings) -> bool:
    """Whether it was meant to be done by then: a target always, a lot that does not need far longer."""
    if ahead.beyond_us is None:
        return False
    return ahead.what == TARGET or ahead.beyond_us <= settings.beyond_min * 60e6


def _clear(ahead: Ahead, in_reach: bool, settings: Settings) -> bool:
    """Done, done well before the end, far from it, or nothing is known that could be missed."""
    if not ahead.left or ahead.finish_at_us is None or ahead.end_us is None:
        return True
    return not in_reach or ahead.finish_at_us <= ahead.end_us - settings.clear_min * 60e6


def _text(ahead: Ahead, misses: bool, due: Sequence[str]) -> str:
    if ahead.what == TARGET:
        what, end = f"Target{f' of {cut(ahead.name)}' if ahead.name else ''}", "its time"
    else:
        what, end = f"Lot {cut(ahead.name) or 'without a number'}", "the shift"
    late = f"will not be reached by the end of {end}" if misses else "may be late"
    left = f"{ahead.left} parts left" if ahead.left is not None else "parts left not known"
    tools = f"; to be changed before it is done: {listed(due)}" if due else ""
    return f"{what} on {ahead.machine} {late}: {left}{tools}"
