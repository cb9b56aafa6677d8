"""Tool lives: count-up and count-down mean the same inside; a life ends when its used value falls (or its
remaining rises) or another tool sits in its pot, unless the tool moved (``moves``).

House rules. Fields of one instant are taken together, since a change of tool rewrites several at once; and
what follows within SETTLING_US of the change still belongs to it, since a control writes field by field. A
pot that is told empty keeps its life until another tool sits there. A limit edited by hand ends no life: on a
count-down life the remaining value may move along with it, in the same instant or later.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from swarfline.facts import Fact, LimitChange, ToolLife
from swarfline.interpret.moves import (
    EARLY_US,
    MOST_LEFT,
    MOVING_US,
    Left,
    change_places,
    exchanged,
    left_by,
    vacated_by,
)
from swarfline.interpret.pot import SETTLING_US, Pot, tool_name

_USE = ("remaining", "used")
Growth = list[tuple[str, float]]
"""(tool, life used up in sight)"""


class Tools:
    """The pots of one machine.

    ``touched`` are the pots whose open life is to be told again; ``wake_us``: after this time there is something
    to settle at the next instant, whatever it brings (None: there is not).
    """

    __slots__ = ("_coming", "_left", "_machine", "due", "pots", "touched", "wake_us")

    def __init__(self, machine: str) -> None:
        self._machine = machine
        self.pots: dict[str, Pot] = {}
        self.due: dict[str, dict[str, object]] = {}
        self.touched: set[str] = set()
        self._left: list[Left] = []
        self._coming: dict[str, None] = {}
        self.wake_us: int | None = None

    def lose(self) -> None:
        """What the tools use up from here on is not seen until they are read again."""
        for pot in self.pots.values():
            pot.blind = True
        for left in self._left:
            left.seen = False

    def settle(self, at_us: int, observed: bool) -> tuple[list[Fact], Growth]:
        """Take in the fields of one instant: finished facts, and what tools used up in sight."""
        facts: list[Fact] = []
        growth = self._reunite(at_us) if self._coming else []
        self._expire(at_us)
        self._exchange()
        for key, changed in self.due.items():
            pot = self.pots.setdefault(key, Pot())
            seen = not pot.blind
            grown = self._settle_pot(at_us, key, pot, changed, facts)
            if grown > 0 and seen:
                growth.append((pot.tool, grown))
            for name in _USE:
                if name in changed:
                    pot.blind = not observed or changed[name] is None
        self.due = {}
        if self._coming:
            growth += self._reunite(at_us)
        self._wake()
        return facts, growth

    def _settle_pot(self, at_us: int, key: str, pot: Pot, changed: dict[str, object], facts: list[Fact]) -> float:
        """Take in one pot's fields; the life that its tool used up."""
        values, was_gone = pot.values, pot.gone_us is not None
        news = {name: value for name, value in changed.items() if value is not None and values.get(name) != value}
        before = dict(values) if news else values
        values.update(news)
        if "number" in changed:
            here = bool(tool_name(changed["number"]))
            pot.gone_us = None if here else at_us if pot.gone_us is None else pot.gone_us
        if "number" in values and not tool_name(values["number"]):
            self._emptied(at_us, key, pot)
            return 0.0
        fresh = pot.base is None and any(changed.get(name) is not None for name in _USE)
        if pot.start_us is None:
            if pot.used_now() is not None:
                self._first(at_us, key, pot, was_gone, fresh)
            return 0.0
        spent = self._change(at_us, key, pot, before, facts) if news else 0.0
        if fresh and pot.base is None:
            pot.base = pot.used
        return spent

    def _first(self, at_us: int, key: str, pot: Pot, was_gone: bool, fresh: bool) -> None:
        """The first life here, or the first since one moved away; where others were seen before, its tool came."""
        self._begin(at_us, key, pot, whole=was_gone)
        if any(p.start_us is not None and p.start_us < at_us for p in self.pots.values()):
            self._came(at_us, key, pot, pot.used if fresh else None)

    def _change(self, at_us: int, key: str, pot: Pot, before: dict[str, object], facts: list[Fact]) -> float:
        """Something about a tool with a life changed; the life that it used up."""
        replaced = bool(pot.tool) and tool_name(pot.values.get("number")) != pot.tool
        used, spent = pot.used_now(), pot.spent()
        fell, settling = pot.fell(used, spent), pot.settles(at_us)
        if (replaced or fell) and (not settling or (replaced and pot.arrived)):
            self._end(at_us, key, pot, before, replaced, facts)
            return 0.0
        if replaced:
            self._renamed(at_us, key, pot, facts)
        if not settling:
            facts += self._limits(at_us, key, pot)
        # the first value told of a tool that came is where it stands, not what it used up
        counts = not fell and not (pot.came and pot.base is None)
        pot.keep(at_us)
        self.touched.add(key)
        return spent if counts else 0.0

    def _begin(self, at_us: int, key: str, pot: Pot, whole: bool) -> None:
        pot.start_us, pot.whole, pot.born_in = at_us, whole, ""
        pot.keep(at_us)
        pot.owed = 0.0
        self.touched.add(key)

    def _end(
        self, at_us: int, key: str, pot: Pot, before: dict[str, object], replaced: bool, facts: list[Fact]
    ) -> None:
        """The life is finished, told with the values that it had, and another begins."""
        now, pot.values = pot.values, before
        life = pot.fact(self._machine, key, at_us, "replaced" if replaced else "reset")
        pot.values = now
        facts.append(life)
        self._left = [*self._left[1 - MOST_LEFT :], Left.of(life, key, pot, replaced)]
        lately = pot.used if at_us - pot.used_us <= SETTLING_US and pot.used_us != at_us else None
        self._begin(at_us, key, pot, whole=True)
        pot.began_us, pot.came, pot.arrived, pot.base = at_us, False, False, pot.used
        if replaced:
            told_now = any(before.get(name) != pot.values.get(name) for name in _USE)
            self._came(at_us, key, pot, pot.used if told_now else lately)

    def _came(self, at_us: int, key: str, pot: Pot, base: float | None) -> None:
        """Another tool came into the pot; ``base``: the used value that it shows, None where that is not told."""
        pot.began_us, pot.came, pot.arrived, pot.base = at_us, True, False, base
        self._coming[key] = None

    def _renamed(self, at_us: int, key: str, pot: Pot, facts: list[Fact]) -> None:
        """The number follows a used value that was told first: the life before ended by another tool."""
        for left in self._left:
            if left.key == key and left.life.end_us == pot.start_us and not left.moved:
                left.moved, left.life = True, replace(left.life, reason="replaced")
                facts.append(left.life)
                self._came(at_us, key, pot, pot.used)

    def _emptied(self, at_us: int, key: str, pot: Pot) -> None:
        """An empty pot follows a used value that was told first: the life before waits here, and was not reset."""
        for left in self._left:
            if left.key == key and left.life.end_us == pot.start_us and not left.moved and pot.settles(at_us):
                self._left.remove(left)
                pot.take_back(left.life)
                self.touched.add(key)
                return

    def _limits(self, at_us: int, key: str, pot: Pot) -> Iterator[Fact]:
        told = (("limit", pot.limit, pot.number("limit")), ("warning_level", pot.warning_level, pot.warning_now()))
        for name, old, new in told:
            if old is not None and new is not None and old != new:
                yield LimitChange(self._machine, pot.born_in or key, at_us, pot.tool, name, old, new)

    # -- tools that move -----------------------------------------------------------------------------------

    def _expire(self, at_us: int) -> None:
        """What came too long ago to be an old life that has yet to leave, and what left too long ago to come."""
        for key in [k for k in self._coming if at_us - (self.pots[k].began_us or 0) > EARLY_US]:
            del self._coming[key]
        if self._left and at_us - self._left[0].life.end_us > MOVING_US:
            self._left = [left for left in self._left if at_us - left.life.end_us <= MOVING_US]

    def _exchange(self) -> None:
        if len(self.due) > 1 and any(self._may_fall(key, changed) for key, changed in self.due.items()):
            for one, other in exchanged(self.pots, self.due):
                change_places(self.pots[one], self.pots[other], one, other)

    def _may_fall(self, key: str, changed: dict[str, object]) -> bool:
        pot = self.pots.get(key)
        if pot is None:
            return False
        used, left = changed.get("used"), changed.get("remaining")
        return (isinstance(used, int | float) and used < (pot.used or 0.0)) or (
            isinstance(left, int | float) and left > (pot.remaining or 0.0)
        )

    def _reunite(self, at_us: int) -> Growth:
        """Tools that came go on with the lives that they left elsewhere; what they used up on the way."""
        growth: Growth = []
        for key in list(self._coming):
            pot = self.pots[key]
            if not pot.tool or (pot.base is None and pot.settles(at_us)):
                continue
            left, vacated = left_by(pot, self._left), vacated_by(pot, self.pots)
            other = None if vacated is None else self.pots[vacated]
            if left is not None and (other is None or left.life.used >= (other.used or 0.0)):
                self._left.remove(left)
                grown, seen = self._go_on(key, pot, left.life), left.seen
            elif other is not None and vacated is not None:
                grown, seen = self._go_on(key, pot, other.fact(self._machine, vacated, at_us)), not other.blind
                other.give_away()
                self.touched.discard(vacated)
            else:
                continue
            if grown > 0 and seen:
                growth.append((pot.tool, grown))
        return growth

    def _go_on(self, key: str, pot: Pot, life: ToolLife) -> float:
        """The life goes on in this pot; what it used up on the way here."""
        pot.start_us, pot.whole, pot.born_in, pot.arrived = life.start_us, life.whole, life.pot_key, True
        del self._coming[key]
        self.touched.add(key)
        return pot.base - life.used if pot.base is not None and pot.limit == life.limit else 0.0

    def _wake(self) -> None:
        silent = [self.pots[key].began_us or 0 for key in self._coming if self.pots[key].base is None]
        self.wake_us = min(silent) + SETTLING_US if silent else None

    def _is_held(self, key: str, until_us: int) -> bool:
        """Whether a life that began lately may yet turn out to be another's."""
        pot = self.pots[key]
        if pot.began_us is None or pot.arrived:
            return False
        if until_us <= pot.began_us + SETTLING_US:
            return True
        if until_us > pot.began_us + EARLY_US:
            return key in self._coming and pot.base is None and self._has_source(pot)
        return key in self._coming and (
            any(p is not pot and p.start_us is not None and p.tool == pot.tool for p in self.pots.values())
            or any(left.life.tool == pot.tool for left in self._left)
        )

    def _has_source(self, pot: Pot) -> bool:
        return left_by(pot, self._left) is not None or vacated_by(pot, self.pots) is not None

    def touch_all(self) -> None:
        """Every open life is to be told again."""
        self.touched.update(key for key, pot in self.pots.items() if pot.start_us is not None)

    def take_touched(self, until_us: int) -> list[ToolLife]:
        """Open lives that changed since the last call; a life's end is when its values were last seen."""
        keys = [key for key in sorted(self.touched) if not self._is_held(key, until_us)]
        self.touched.difference_update(keys)
        return [self.pots[key].fact(self._machine, key, self.pots[key].seen_us) for key in keys]

    def save(self) -> list[object]:
        """State between instants as plain data."""
        pots = {key: pot.save() for key, pot in self.pots.items()}
        return [pots, sorted(self.touched), [left.save() for left in self._left], list(self._coming)]

    def load(self, state: list[Any]) -> None:
        """The reverse of save."""
        pots, touched, *moves = state
        left, coming = moves or ([], [])
        self.pots = {key: Pot.load(saved) for key, saved in pots.items()}
        self.touched = set(touched)
        self._left = [Left.load(saved) for saved in left]
        self._coming = dict.fromkeys(coming)
        self._wake()
