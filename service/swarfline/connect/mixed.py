"""Values by a subscription, and by cyclic reading of what the server does not watch."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from swarfline.connect.items import Item
from swarfline.connect.poll import Poller
from swarfline.connect.subscribe import Subscription


class Mixed:
    """A subscription as far as it goes: a server that watches few items, or none, is read for the others.

    The poller is started with the first item that needs it. When it fails, its task tells; the silence that is
    allowed is that of the subscription.
    """

    def __init__(self, subscription: Subscription, poller: Poller) -> None:
        self._subscription = subscription
        self._poller = poller
        self._read: set[int] = set()

    @property
    def deadline_s(self) -> float:
        """Of the subscription."""
        return self._subscription.deadline_s

    @property
    def heard_s(self) -> float:
        """Of the subscription."""
        return self._subscription.heard_s

    @property
    def interval_s(self) -> float:
        """The longer one."""
        return max(self._subscription.interval_s, self._poller.interval_s if self._read else 0.0)

    @property
    def first_values_s(self) -> float:
        """The longer one."""
        return max(self._subscription.first_values_s, self._poller.first_values_s if self._read else 0.0)

    async def start(self) -> None:
        """Create the subscription; raises when the server refuses."""
        await self._subscription.start()

    async def add(self, items: Sequence[Item]) -> dict[int, str]:
        """Have items watched, those that are not watched read; the refused ones with reasons."""
        refused = await self._subscription.add(items)
        rest = [item for item in items if item.handle in self._subscription.unwatched]
        if not rest:
            return refused
        if not self._read:
            await self._poller.start()
        self._read |= {item.handle for item in rest}
        unreadable = await self._poller.add(rest)
        self._read -= unreadable.keys()
        return {handle: why for handle, why in refused.items() if handle not in self._read} | unreadable

    async def tell_of_changes(self, changed: Callable[[], None]) -> None:
        """By the subscription."""
        await self._subscription.tell_of_changes(changed)

    async def remove(self, handles: Sequence[int]) -> None:
        """Watch and read these no longer."""
        read = [handle for handle in handles if handle in self._read]
        self._read.difference_update(read)
        await self._poller.remove(read)
        await self._subscription.remove(handles)

    def ended(self) -> str:
        """Why one of the two delivers no more."""
        return self._subscription.ended() or self._poller.ended()

    async def close(self) -> None:
        """Stop both."""
        await self._poller.close()
        await self._subscription.close()
