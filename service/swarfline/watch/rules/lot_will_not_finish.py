"""A lot that could be done by the end of the shift will not be, or a tool will not last until it is done.

A lot that needs days misses every shift's end and is no news; so only those are told that miss it by little.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

from swarfline.alerts import Sighting
from swarfline.watch.wording import cut, listed, moment

NAME = "lot_will_not_finish"


@dataclass(frozen=True, slots=True)
class LotAhead:
    """The running lot of a machine as forecast; None: not known.

    ``beyond_us`` is the planned time from the shift's end to the forecast end of the lot, 0 when it is done
    before. ``tools`` are those that will be due before it is done.
    """

    machine: str
    lot: str = ""
    part: str = ""
    left: int | None = None
    finish_at_us: int | None = None
    shift_end_us: int | None = None
    beyond_us: int | None = None
    tools: Sequence[str] = ()


class Settings(Protocol):
    """A part of [alerts.lot_will_not_finish], with the same meanings."""

    beyond_min: float
    clear_min: float
    tools: bool


def see(ahead: LotAhead, settings: Settings) -> Sighting:
    """Whether the running lot misses the end of the shift."""
    misses = ahead.beyond_us is not None and 0 < ahead.beyond_us <= settings.beyond_min * 60e6
    due = list(ahead.tools) if settings.tools and _could_be_done(ahead, settings) else []
    active = bool(ahead.left) and (misses or bool(due))
    return Sighting(
        NAME,
        ahead.machine,
        "lot",
        active,
        not active and _clear(ahead, settings),
        text=_text(ahead, misses, due),
        detail={
            "lot": cut(ahead.lot),
            "part": cut(ahead.part),
            "left": ahead.left,
            "finish_at": moment(ahead.finish_at_us),
            "shift_end_at": moment(ahead.shift_end_us),
            "tools": due[:20],
        },
    )


def _could_be_done(ahead: LotAhead, settings: Settings) -> bool:
    return ahead.beyond_us is not None and ahead.beyond_us <= settings.beyond_min * 60e6


def _clear(ahead: LotAhead, settings: Settings) -> bool:
    """Done well before the shift's end, far from it, or nothing is known that could be missed."""
    if not ahead.left or ahead.finish_at_us is None or ahead.shift_end_us is None:
        return True
    early = ahead.finish_at_us <= ahead.shift_end_us - settings.clear_min * 60e6
    return early or not _could_be_done(ahead, settings)


def _text(ahead: LotAhead, misses: bool, due: Sequence[str]) -> str:
    lot = f"Lot {cut(ahead.lot) or 'without a number'} on {ahead.machine}"
    left = f"{ahead.left} parts left" if ahead.left is not None else "parts left not known"
    late = "will not be done by the end of the shift" if misses else "may not be done in time"
    tools = f"; to be changed before its end: {listed(due)}" if due else ""
    return f"{lot} {late}: {left}{tools}"
