"""The cycles of a program have a new level: they last longer, or where asked for, shorter than before.

Where levels begin is measure's affair (docs/figures.md, level steps); here their difference is held against a
limit.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from swarfline.alerts import Sighting
from swarfline.sentence import N_, Sentence
from swarfline.watch.wording import Seen, cut, moment, text_of

NAME = "cycle_time_drifted"


@dataclass(frozen=True, slots=True)
class Levels:
    """The first and the newest level of the newest cycles of one program and part, in seconds.

    Without a step they are the same; ``since_us`` is when the newest level began.
    """

    machine: str
    program: str
    part: str
    before_s: float
    now_s: float
    since_us: int | None = None


class Settings(Protocol):
    """A part of [alerts.cycle_time_drifted], with the same meanings."""

    longer_pct: float | None
    shorter_pct: float | None
    clear_pct: float


def see(levels: Levels, settings: Settings) -> Sighting:
    """Whether the cycles of a program have become longer or shorter by too much."""
    change = (levels.now_s - levels.before_s) / levels.before_s if levels.before_s > 0 else 0.0
    longer = settings.longer_pct is not None and 100 * change >= settings.longer_pct
    shorter = settings.shorter_pct is not None and -100 * change >= settings.shorter_pct
    active = longer or shorter
    detail = _detail(levels, change)
    return Sighting(
        NAME,
        levels.machine,
        f"{cut(levels.program)}/{cut(levels.part)}",
        active,
        not active and abs(100 * change) < max(settings.clear_pct, 1e-9),
        text=text_of(say, levels.machine, detail),
        detail=detail,
    )


def _detail(levels: Levels, change: float) -> dict[str, object]:
    return {
        "program": cut(levels.program),
        "part": cut(levels.part),
        "before_s": round(levels.before_s, 2),
        "now_s": round(levels.now_s, 2),
        "change_pct": round(100 * change, 2),
        "since_at": moment(levels.since_us),
    }


def say(seen: Seen) -> Sentence:
    """By how much the cycles of what have become longer or shorter."""
    longer = N_(
        "Cycles of {what} on {machine} have become longer by {change:.3g} %: "
        "{before:.1f} s before, {now:.1f} s now"
    )
    shorter = N_(
        "Cycles of {what} on {machine} have become shorter by {change:.3g} %: "
        "{before:.1f} s before, {now:.1f} s now"
    )
    change = seen["change_pct"]
    return Sentence(
        longer if change >= 0 else shorter,
        {
            "what": _made(seen),
            "machine": seen["machine"],
            "change": abs(change),
            "before": seen["before_s"],
            "now": seen["now_s"],
        },
    )


def _made(seen: Seen) -> Sentence:
    if seen["program"]:
        return Sentence(N_("program {program}"), {"program": seen["program"]})
    if seen["part"]:
        return Sentence(N_("part {part}"), {"part": seen["part"]})
    return Sentence(N_("part without a number"))
