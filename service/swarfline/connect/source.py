"""How values come: what a subscription and a cyclic read have in common."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Protocol

from asyncua import ua

from swarfline.connect.items import Item

Receive = Callable[[list[int], list[ua.DataValue], int, bool], None]
"""(handles, their values, received_us, whether messages before these were lost).

Two lists, not one of pairs: thousands of short-lived pairs would keep the garbage collector busy.
"""


class Source(Protocol):
    """Delivers values of items to a Receive."""

    @property
    def deadline_s(self) -> float:
        """Longest silence that is in order."""

    @property
    def heard_s(self) -> float:
        """When it last heard from the server, in the event loop's seconds."""

    @property
    def interval_s(self) -> float:
        """How long a change may wait before it is delivered."""

    @property
    def first_values_s(self) -> float:
        """Within this time every item should have shown its first value."""

    async def start(self) -> None:
        """Begin; raises when the server refuses."""

    async def add(self, items: Sequence[Item]) -> dict[int, str]:
        """Watch items; the reason for each that was refused, by handle."""

    async def tell_of_changes(self, changed: Callable[[], None]) -> None:
        """Have ``changed`` called when nodes come or go, where the server tells of that."""

    async def remove(self, handles: Sequence[int]) -> None:
        """Watch these no longer."""

    def ended(self) -> str:
        """Why it delivers no more, empty while it does."""

    async def close(self) -> None:
        """Stop own tasks."""
