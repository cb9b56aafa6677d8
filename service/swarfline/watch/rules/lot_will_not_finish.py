"""A target that people told, or a lot that could be done by the end of the shift, will be missed.

A target names its time, so every miss of it is told. A lot names none: one that needs days misses every shift's
end and is no news, so only those are told that miss it by little, and only where lots are meant to be done then.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

from swarfline.alerts import Sighting
from swarfline.sentence import N_, Sentence
from swarfline.watch.wording import MOST_NAMED, InPot, Seen, cut, moment, text_of, tool_detail, tool_named

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
    tools: Sequence[InPot] = ()


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
    detail = _detail(ahead, misses, due)
    return Sighting(
        NAME,
        ahead.machine,
        ahead.what,
        active,
        not active and _clear(ahead, in_reach, settings),
        text=text_of(say, ahead.machine, detail),
        detail=detail,
    )


def _detail(ahead: Ahead, misses: bool, due: Sequence[InPot]) -> dict[str, object]:
    return {
        "what": ahead.what,
        "name": cut(ahead.name),
        "left": ahead.left,
        "misses": misses,
        "finish_at": moment(ahead.finish_at_us),
        "end_at": moment(ahead.end_us),
        "tools": [tool_detail(tool) for tool in due[:20]],
        "tool_count": len(due),
    }


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


_TARGET_LATE = {
    (True, True): N_("Target of {name} on {machine} will not be reached by the end of its time: {left}"),
    (True, False): N_("Target of {name} on {machine} may be late: {left}"),
    (False, True): N_("Target on {machine} will not be reached by the end of its time: {left}"),
    (False, False): N_("Target on {machine} may be late: {left}"),
}
_LOT_LATE = {
    (True, True): N_("Lot {name} on {machine} will not be reached by the end of the shift: {left}"),
    (True, False): N_("Lot {name} on {machine} may be late: {left}"),
    (False, True): N_("Lot without a number on {machine} will not be reached by the end of the shift: {left}"),
    (False, False): N_("Lot without a number on {machine} may be late: {left}"),
}
"""By whether it has a name, and whether it misses its end."""


def say(seen: Seen) -> Sentence:
    """What will be late, how much is left of it, and which tools are in its way."""
    texts = _TARGET_LATE if seen["what"] == TARGET else _LOT_LATE
    text = texts[bool(seen["name"]), seen["misses"]]
    late = Sentence(text, {"name": seen["name"], "machine": seen["machine"], "left": _left(seen["left"])})
    if not seen["tool_count"]:
        return late
    whole = N_("{late}; to be changed before it is done: {tools}")
    return Sentence(whole, {"late": late, "tools": _tools(seen)})


def _left(left: int | None) -> Sentence:
    if left is None:
        return Sentence(N_("parts left not known"))
    return Sentence(N_("1 part left")) if left == 1 else Sentence(N_("{left} parts left"), {"left": left})


def _tools(seen: Seen) -> Sentence:
    named = tuple(tool_named({**tool, "machine": seen["machine"]}) for tool in seen["tools"][:MOST_NAMED])
    more = seen["tool_count"] - MOST_NAMED
    if more <= 0:
        return Sentence("{names}", {"names": named})
    return Sentence(N_("{names} and {more} more"), {"names": named, "more": more})
