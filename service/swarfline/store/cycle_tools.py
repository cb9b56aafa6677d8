"""What many cycles tell of single tools: rows are read once, and unpacked only where they are asked for."""

from __future__ import annotations

import json
from bisect import bisect_left
from collections.abc import Sequence
from typing import Any

from swarfline.facts import ToolUse
from swarfline.store.rows import json_of

CycleRow = tuple[int, str, str]
"""(start in µs, program, tools as kept)"""


class CycleTools:
    """Complete cycles of one machine, oldest first; ``every``: each such cycle that there was."""

    def __init__(self, every: int, rows: Sequence[CycleRow]) -> None:
        self.every = every
        self._rows = rows
        self._starts = [start for start, _, _ in rows]
        self._unpacked: dict[int, list[list[Any]]] = {}

    def of(self, tool: str, start_us: int, end_us: int, most: int) -> tuple[int, list[tuple[str, ToolUse]]]:
        """(program, use) of the cycles begun in [start, end) that used a tool, oldest first.

        Where there are more than ``most``, each n-th of them alone. n comes first; it counts the cycles that
        were there before any were left out.
        """
        first, last = (bisect_left(self._starts, at_us) for at_us in (start_us, end_us))
        # the mark of a tool in the text spares most unpacking; what only looks like it is passed over below
        mark = f"[{json_of(tool)},"
        using = [n for n in range(first, last) if mark in self._rows[n][2]]
        every = 1
        while len(using) > most * every:
            every *= 2
        kept = using[every - 1 :: every]
        found = [(self._rows[n][1], ToolUse(*use)) for n in kept for use in self._use(n) if use[0] == tool]
        return self.every * every, found

    def _use(self, place: int) -> list[list[Any]]:
        if place not in self._unpacked:
            self._unpacked[place] = json.loads(self._rows[place][2])
        return self._unpacked[place]
