"""One pot: what is known of the tool in it, and the life that runs there, counting up and counting down alike."""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from typing import Any

from swarfline.facts import ToolLife

SETTLING_US = 2_000_000
"""What a control writes within this time of a change of tool still belongs to it."""


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

    ``values`` holds the fields as told; numbers that are not believed never get there. ``used`` and the rest are
    as last told; ``owed`` is by how much a limit moved that the remaining value has not followed; ``blind``: not
    read since the machine was lost from sight.

    ``born_in``: the pot in which the life began, empty for this one. ``gone_us``: since when no tool is told to be
    here. ``began_us``: when this life began in sight here, or when its tool ``came`` and perhaps ``arrived``, that
    is, brought its life along. ``base`` is the first used value that it showed since, None before. ``used_before``
    was told until ``used_us``.
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
    born_in: str = ""
    gone_us: int | None = None
    began_us: int | None = None
    came: bool = False
    arrived: bool = False
    base: float | None = None
    used_before: float | None = None
    used_us: int = 0

    def number(self, name: str) -> float | None:
        """A numeric field, or None when not offered or not known."""
        value = self.values.get(name)
        return float(value) if isinstance(value, int | float) else None

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

    @property
    def basis(self) -> str:
        """What the life counts."""
        return self.text("life_basis") or "count"

    def fell(self, used: float | None, spent: float) -> bool:
        """Whether the used value fell to ``used``, and not only because a limit was edited."""
        if spent >= 0 or used is None or self.used is None or used >= self.used:
            return False
        return not (self.owed and abs(spent + self.owed) < 1e-9 * max(1.0, abs(self.owed)))

    def settles(self, at_us: int) -> bool:
        """Whether the life or its tool came so lately that what is told still belongs to that.

        A life that was there at first sight did not come: what follows is news of it.
        """
        since = self.start_us if self.began_us is None and self.whole else self.began_us
        return since is not None and at_us - since <= SETTLING_US

    def keep(self, at_us: int) -> None:
        """Remember what was told as what holds."""
        limit, remaining = self.number("limit"), self.number("remaining")
        if remaining != self.remaining:
            self.owed = 0.0
        elif limit is not None and self.limit is not None:
            self.owed += limit - self.limit
        used = self.used_now()
        if used != self.used:
            self.used_before, self.used_us = self.used, at_us
        self.tool, self.used, self.seen_us = tool_name(self.values.get("number")), used, at_us
        self.limit, self.warning_level, self.remaining = limit, self.warning_now(), remaining

    def take_back(self, life: ToolLife) -> None:
        """The life that was taken for ended goes on, and the one that began then never was."""
        self.start_us, self.whole, self.born_in, self.tool = life.start_us, life.whole, life.pot_key, life.tool
        self.used, self.limit, self.warning_level = life.used, life.limit, life.warning_level
        if self.remaining is not None and life.limit is not None:
            self.remaining = life.limit - life.used
        self.began_us, self.came, self.arrived, self.base = None, False, False, life.used

    def give_away(self) -> None:
        """The life goes on in another pot."""
        self.start_us, self.tool, self.began_us, self.came, self.arrived, self.base = (
            None,
            "",
            None,
            False,
            False,
            None,
        )

    def fact(self, machine: str, key: str, end_us: int, reason: str = "") -> ToolLife:
        """The life as it stands, or with a reason as it ended; ``key`` is this pot's."""
        assert self.start_us is not None
        born_in = self.born_in or key
        return ToolLife(
            machine,
            born_in,
            self.start_us,
            end_us,
            self.tool,
            self.text("pot") or (key if born_in != key else ""),
            self.text("name"),
            self.basis,
            self.used or 0.0,
            self.limit,
            self.warning_level,
            bool(self.values.get("locked")),
            self.whole,
            reason,
            open=not reason,
        )

    def save(self) -> list[object]:
        """State as plain data, in the order of the fields."""
        return [dict(self.values), *(getattr(self, f.name) for f in fields(self)[1:])]

    @classmethod
    def load(cls, state: list[Any]) -> Pot:
        """The reverse of save."""
        values, *rest = state
        return cls(dict(values), *rest)
