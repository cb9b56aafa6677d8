"""Tools that move: a tool that leaves one pot and shows in another keeps its life, in whatever order it is told.

House rules. A life is looked for where a tool comes into a pot: among those that left a pot, or whose pot is told
empty or Bad, within MOVING_US before; and, since a control may show the new pot first, within EARLY_US after. It
is the same life when tool and basis are the same and the used value did not fall; of several (sisters) the one
that used most. A pot that tells no used value with its new tool shows by that the very one that it had. Two
sisters that exchange their used values in one instant have changed places.

A life that another tool ended is told as ended at once and, when it shows elsewhere, told again as going on. A new
life that may yet turn out to be an old one is not told before that is settled: nothing told can be unsaid.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import astuple, dataclass
from typing import Any

from swarfline.facts import ToolLife
from swarfline.interpret.pot import SETTLING_US, Pot

MOVING_US = 3_600_000_000
"""How long a tool may be out of any pot and still be the same: it may be at work in the spindle."""

EARLY_US = 10_000_000
"""How long a tool may show in two pots, the new and the old."""

MOST_LEFT = 200
"""Lives remembered after they left their pot at most."""


@dataclass(slots=True)
class Left:
    """A life that left its pot ``key``.

    ``at_least``: what it had used at least, should the last value told before it left have been the next tool's
    already; ``seen``: in sight since; ``moved``: another tool sits in its pot.
    """

    life: ToolLife
    key: str
    at_least: float
    seen: bool
    moved: bool

    @classmethod
    def of(cls, life: ToolLife, key: str, pot: Pot, moved: bool) -> Left:
        """The life that ended in this pot just now; ``moved``: another tool sits there."""
        lately = pot.used_before is not None and life.end_us - pot.used_us <= SETTLING_US
        at_least = min(life.used, pot.used_before or 0.0) if lately else life.used
        return cls(life, key, at_least, not pot.blind, moved)

    def save(self) -> list[object]:
        """State as plain data."""
        return [list(astuple(self.life)), self.key, self.at_least, self.seen, self.moved]

    @classmethod
    def load(cls, state: list[Any]) -> Left:
        """The reverse of save."""
        life, *rest = state
        return cls(ToolLife(*life), *rest)


def left_by(pot: Pot, left: Iterable[Left]) -> Left | None:
    """The life, of those that left their pots, that the tool that came into ``pot`` goes on with."""
    fit = [one for one in left if one.moved and _fits(pot, one.life, one.life.end_us, one.at_least)]
    return max(fit, key=lambda one: one.at_least, default=None)


def vacated_by(pot: Pot, pots: Mapping[str, Pot]) -> str | None:
    """The pot, of those told empty or Bad, whose life the tool that came into ``pot`` goes on with."""
    fit = [
        (other.used or 0.0, key)
        for key, other in pots.items()
        if other is not pot and other.start_us is not None and other.gone_us is not None
        if _fits(pot, other, other.gone_us, other.used or 0.0)
    ]
    return max(fit)[1] if fit else None


def _fits(pot: Pot, life: ToolLife | Pot, gone_us: int, used: float) -> bool:
    if life.tool != pot.tool or life.basis != pot.basis or (pot.began_us or 0) - gone_us > MOVING_US:
        return False
    return used == pot.used if pot.base is None else used <= (pot.used or 0.0)


def exchanged(pots: Mapping[str, Pot], due: Mapping[str, Mapping[str, object]]) -> list[tuple[str, str]]:
    """Pairs of pots whose tools, sisters of one number, are about to exchange their used values."""
    told = {key: _about_to_be(pots[key], changed) for key, changed in due.items() if key in pots}
    fallen = [key for key, used in told.items() if used is not None and used < (pots[key].used or 0.0)]
    pairs = []
    for low in fallen:
        for high, used in told.items():
            one, other = pots[low], pots[high]
            if used == one.used and told[low] == other.used and one.tool == other.tool and one.tool:
                pairs.append((low, high))
                break
    return pairs


def _about_to_be(pot: Pot, changed: Mapping[str, object]) -> float | None:
    """The used value that a pot is about to have, None where none is told or another tool comes too."""
    if pot.start_us is None or changed.get("number", pot.values.get("number")) != pot.values.get("number"):
        return None
    used, remaining = changed.get("used"), changed.get("remaining")
    if isinstance(used, int | float):
        return float(used)
    if isinstance(remaining, int | float) and pot.limit is not None and pot.number("used") is None:
        return pot.limit - remaining
    return None


def change_places(one: Pot, other: Pot, one_key: str, other_key: str) -> None:
    """Two lives of sister tools go on in one another's pots."""
    one.born_in, other.born_in = other.born_in or other_key, one.born_in or one_key
    for name in ("start_us", "whole", "used", "limit", "warning_level", "remaining", "owed", "blind"):
        here, there = getattr(one, name), getattr(other, name)
        setattr(one, name, there)
        setattr(other, name, here)
