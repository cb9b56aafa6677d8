"""Tool lives: count-up and count-down mean the same inside; a life ends when its used value falls or another
tool sits in its pot.

Fields of one instant are taken together, since a change of tool rewrites several at once.
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields

from swarfline.facts import Fact, LimitChange, ToolLife

_NUMBERS = ("used", "remaining", "limit", "warning_level", "warning_remaining")


@dataclass(slots=True)
class Pot:
    """What is known of the tool in one pot, and the life that runs there."""

    values: dict[str, object] = field(default_factory=dict)
    start_us: int | None = None
    seen_us: int = 0
    whole: bool = False
    tool: str = ""
    used: float | None = None
    limit: float | None = None
    warning_level: float | None = None

    def number(self, name: str) -> float | None:
        """A numeric field, or None when not offered or not known."""
        value = self.values.get(name)
        return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None

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

    def text(self, name: str) -> str:
        """A text field, empty when not known."""
        value = self.values.get(name)
        return "" if value is None else str(value)


class Tools:
    """The pots of one machine. ``touched`` are the pots whose open life is to be told again."""

    __slots__ = ("_machine", "due", "pots", "touched")

    def __init__(self, machine: str) -> None:
        self._machine = machine
        self.pots: dict[str, Pot] = {}
        self.due: dict[str, dict[str, object]] = {}
        self.touched: set[str] = set()

    def settle(self, at_us: int) -> tuple[list[Fact], list[tuple[str, float]]]:
        """Take in the fields of one instant: finished facts, and (tool, life used up) of what grew."""
        facts: list[Fact] = []
        growth: list[tuple[str, float]] = []
        for key, changed in self.due.items():
            pot = self.pots.setdefault(key, Pot())
            facts += self._settle_pot(at_us, key, pot, changed, growth)
        self.due = {}
        return facts, growth

    def _settle_pot(
        self, at_us: int, key: str, pot: Pot, changed: dict[str, object], growth: list[tuple[str, float]]
    ) -> list[Fact]:
        before_values = dict(pot.values)
        pot.values.update({name: value for name, value in changed.items() if value is not None})
        tool, used = pot.text("number"), pot.used_now()
        if pot.start_us is None:
            if used is not None:
                self._begin(at_us, key, pot, whole=False)
            return []
        if pot.values == before_values:
            return []
        facts: list[Fact] = []
        if tool != pot.tool or self._fell(pot, used):
            facts.append(self._end(at_us, key, pot, before_values, "replaced" if tool != pot.tool else "reset"))
            self._begin(at_us, key, pot, whole=True)
            return facts
        facts += self._limits(at_us, key, pot)
        if used is not None and pot.used is not None and used > pot.used and "limit" not in changed:
            growth.append((tool, used - pot.used))
        self._keep(at_us, key, pot)
        return facts

    @staticmethod
    def _fell(pot: Pot, used: float | None) -> bool:
        return used is not None and pot.used is not None and used < pot.used and pot.limit == pot.number("limit")

    def _begin(self, at_us: int, key: str, pot: Pot, whole: bool) -> None:
        pot.start_us, pot.whole = at_us, whole
        pot.limit, pot.warning_level = pot.number("limit"), pot.warning_now()
        self._keep(at_us, key, pot)

    def _keep(self, at_us: int, key: str, pot: Pot) -> None:
        pot.tool, pot.used, pot.seen_us = pot.text("number"), pot.used_now(), at_us
        pot.limit, pot.warning_level = pot.number("limit"), pot.warning_now()
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
        previous = Pot(values, pot.start_us, at_us, pot.whole, pot.tool, pot.used, pot.limit, pot.warning_level)
        return self._fact(key, previous, at_us, reason)

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
        """State as plain data."""
        pots = {key: [getattr(pot, f.name) for f in fields(Pot)] for key, pot in self.pots.items()}
        return [pots, self.due]

    def load(self, state: list[object]) -> None:
        """The reverse of save."""
        pots, self.due = state  # type: ignore[assignment]
        self.pots = {key: Pot(*values) for key, values in pots.items()}  # type: ignore[attr-defined]
