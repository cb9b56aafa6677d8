"""Tool lives: count-up and count-down mean the same inside; a life ends when its used value falls (or its
remaining rises) or another tool sits in its pot.

House rules. Fields of one instant are taken together, since a change of tool rewrites several at once; and
what follows within SETTLING_US of the change still belongs to it, since a control writes field by field. A
pot that is told empty keeps its life until another tool sits there. A limit edited by hand ends no life: on a
count-down life the remaining value may move along with it, in the same instant or later.
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from typing import Any

from swarfline.facts import Fact, LimitChange, ToolLife
from swarfline.interpret.numbers import number_of

SETTLING_US = 2_000_000


def tool_name(value: object) -> str:
    """A tool number or name as text; empty for no tool (0, empty, not known)."""
    if value is None or isinstance(value, bool):
        return ""
    if isinstance(value, float) and value.is_integer():
        value = int(value)
    name = str(value)
    return "" if name == "0" else name


@dataclass(slots=True)
class Pot:
    """What is known of the tool in one pot, and the life that runs there.

    ``used`` and the rest are as last told; ``owed`` is by how much a limit moved that the remaining value has
    not followed; ``blind``: not read since the machine was lost from sight.
    """

    values: dict[str, object] = field(default_factory=dict)
    start_us: int | None = None
    seen_us: int = 0
    whole: bool = False
    tool: str = ""
    used: float | None = None
    limit: float | None = None
    warning_level: float | None = None
    remaining: float | None = None
    owed: float = 0.0
    blind: bool = False

    def number(self, name: str) -> float | None:
        """A numeric field, or None when not offered or not known."""
        value = number_of(self.values.get(name))
        return None if value is None else float(value)

    def used_now(self) -> float | None:
        """Life used, counting up: as told, or the limit less what remains."""
        used = self.number("used")
        if used is not None:
            return used
        remaining, limit = self.number("remaining"), self.number("limit")
        return None if remaining is None or limit is None else limit - remaining

    def warning_now(self) -> float | None:
        """Warning level in the sense of used."""
        level = self.number("warning_level")
        if level is not None:
            return level
        left, limit = self.number("warning_remaining"), self.number("limit")
        return None if left is None or limit is None else limit - left

    def spent(self) -> float:
        """Life used up since last told; negative when life was given back."""
        if self.number("used") is not None or self.remaining is None:
            return (self.used_now() or 0.0) - (self.used or 0.0)
        return self.remaining - (self.number("remaining") or 0.0)

    def text(self, name: str) -> str:
        """A text field, empty when not known."""
        value = self.values.get(name)
        return "" if value is None else str(value)

    def fell(self) -> bool:
        """The used value fell, and not only because a limit was edited."""
        spent, used = self.spent(), self.used_now()
        if spent >= 0 or used is None or self.used is None or used >= self.used:
            return False
        return not (self.owed and abs(spent + self.owed) < 1e-9 * max(1.0, abs(self.owed)))

    def keep(self, at_us: int) -> None:
        """Remember what was told as what holds."""
        limit, remaining = self.number("limit"), self.number("remaining")
        if remaining != self.remaining:
            self.owed = 0.0
        elif limit is not None and self.limit is not None:
            self.owed += limit - self.limit
        self.tool, self.used, self.seen_us = tool_name(self.values.get("number")), self.used_now(), at_us
        self.limit, self.warning_level, self.remaining = limit, self.warning_now(), remaining

    def save(self) -> list[object]:
        """State as plain data, in the order of the fields."""
        return [dict(self.values), *(getattr(self, f.name) for f in fields(self)[1:])]


class Tools:
    """The pots of one machine. ``touched`` are the pots whose open life is to be told again."""

    __slots__ = ("_machine", "due", "pots", "touched")

    def __init__(self, machine: str) -> None:
        self._machine = machine
        self.pots: dict[str, Pot] = {}
        self.due: dict[str, dict[str, object]] = {}
        self.touched: set[str] = set()

    def lose(self) -> None:
        """What the tools use up from here on is not seen until they are read again."""
        for pot in self.pots.values():
            pot.blind = True

    def settle(self, at_us: int, observed: bool) -> tuple[list[Fact], list[tuple[str, float]]]:
        """Take in the fields of one instant: finished facts, and (tool, life used up in sight) of what grew."""
        facts: list[Fact] = []
        growth: list[tuple[str, float]] = []
        for key, changed in self.due.items():
            pot = self.pots.setdefault(key, Pot())
            seen = not pot.blind
            grown = self._settle_pot(at_us, key, pot, changed, facts)
            if grown > 0 and seen:
                growth.append((pot.tool, grown))
            for name in {"used", "remaining"} & changed.keys():
                pot.blind = not observed or changed[name] is None
        self.due = {}
        return facts, growth

    def _settle_pot(self, at_us: int, key: str, pot: Pot, changed: dict[str, object], facts: list[Fact]) -> float:
        """Take in one pot's fields; the life that its tool used up."""
        before = dict(pot.values)
        pot.values.update({name: value for name, value in changed.items() if value is not None})
        empty = "number" in pot.values and not tool_name(pot.values["number"])
        if pot.values == before or empty:
            return 0.0
        if pot.start_us is None:
            if pot.used_now() is not None:
                self._begin(at_us, key, pot, whole=False)
            return 0.0
        replaced = bool(pot.tool) and tool_name(pot.values.get("number")) != pot.tool
        ends, settling = replaced or pot.fell(), at_us - pot.start_us <= SETTLING_US
        if ends and not settling:
            facts.append(self._end(at_us, key, pot, before, "replaced" if replaced else "reset"))
            self._begin(at_us, key, pot, whole=True)
            return 0.0
        if not settling:
            facts += self._limits(at_us, key, pot)
        spent = 0.0 if ends else pot.spent()
        pot.keep(at_us)
        self.touched.add(key)
        return spent

    def _begin(self, at_us: int, key: str, pot: Pot, whole: bool) -> None:
        pot.start_us, pot.whole = at_us, whole
        pot.keep(at_us)
        pot.owed = 0.0
        self.touched.add(key)

    def _limits(self, at_us: int, key: str, pot: Pot) -> list[Fact]:
        told = (("limit", pot.limit, pot.number("limit")), ("warning_level", pot.warning_level, pot.warning_now()))
        return [
            LimitChange(self._machine, key, at_us, pot.tool, name, old, new)
            for name, old, new in told
            if old is not None and new is not None and old != new
        ]

    def _end(self, at_us: int, key: str, pot: Pot, values: dict[str, object], reason: str) -> ToolLife:
        """The finished life, told with the values that it had."""
        now, pot.values = pot.values, values
        ended = self._fact(key, pot, at_us, reason)
        pot.values = now
        return ended

    def _fact(self, key: str, pot: Pot, end_us: int, reason: str = "") -> ToolLife:
        assert pot.start_us is not None
        return ToolLife(
            self._machine,
            key,
            pot.start_us,
            end_us,
            pot.tool,
            pot.text("pot"),
            pot.text("name"),
            pot.text("life_basis") or "count",
            pot.used or 0.0,
            pot.limit,
            pot.warning_level,
            bool(pot.values.get("locked")),
            pot.whole,
            reason,
            open=not reason,
        )

    def take_touched(self) -> list[ToolLife]:
        """Open lives that changed since the last call; a life's end is when its values were last seen."""
        keys, self.touched = sorted(self.touched), set()
        return [self._fact(key, self.pots[key], self.pots[key].seen_us) for key in keys]

    def save(self) -> list[object]:
        """State between instants as plain data."""
        return [{key: pot.save() for key, pot in self.pots.items()}, sorted(self.touched)]

    def load(self, state: list[Any]) -> None:
        """The reverse of save."""
        pots, touched = state
        self.pots = {key: Pot(dict(values), *rest) for key, (values, *rest) in pots.items()}
        self.touched = set(touched)
