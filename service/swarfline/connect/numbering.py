"""Sequence numbers of notifications: which are missing, and asking for those again (OPC 10000-4, Republish)."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

from asyncua import ua

from swarfline.connect.tasks import heed, within

LAST_NUMBER = 0xFFFFFFFF
MOST_MISSING = 100
"""More missing at once is no message or two lost on the way: nothing is asked for then."""


class Republishing(Protocol):
    """The library's session, as far as it is needed here."""

    async def republish(self, subscription_id: int, number: int, /) -> ua.NotificationMessage:
        """One message once more."""


class Numbering:
    """Follows the numbers of one subscription. A keep-alive carries the number that the next message will have."""

    def __init__(self) -> None:
        self._expected: int | None = None

    def forget(self) -> None:
        """What comes next is right, whatever its number."""
        self._expected = None

    def jump(self, message: ua.NotificationMessage) -> tuple[int, ...]:
        """Take the next message; the numbers missing before it.

        A number that lies back, or too far ahead, gives itself: something was lost, and it cannot be told what.
        """
        number, expected = message.SequenceNumber, self._expected
        self._expected = number % LAST_NUMBER + 1 if message.NotificationData else number
        if expected is None or number == expected:
            return ()
        # zero is left out of the count
        missing = (number - expected) % LAST_NUMBER
        if missing > MOST_MISSING:
            return (number,)
        return tuple((expected - 1 + n) % LAST_NUMBER + 1 for n in range(missing))


class Republisher:
    """Asks for missing messages, only for those that the server says it still has, each once."""

    def __init__(self, session: Republishing, limit_s: float) -> None:
        self._session = session
        self._limit_s = limit_s
        self._is_refused = False

    def has(self, missing: Sequence[int], available: Sequence[int] | None) -> bool:
        """Whether all of them can be had, by the server's list of what it keeps."""
        return not self._is_refused and set(missing) <= set(available or ())

    async def fetch(self, subscription: int, missing: Sequence[int]) -> list[ua.NotificationMessage]:
        """The missing messages in order; none at all unless each came, whole, within the limit of time."""
        try:
            async with within(self._limit_s):
                messages = [await self._session.republish(subscription, number) for number in missing]
        except (ua.uaerrors.BadServiceUnsupported, ua.uaerrors.BadNotImplemented, ua.uaerrors.BadNotSupported):
            self._is_refused = True
            return []
        except Exception:
            # whatever went wrong: the loss is told, and the watch sees by itself whether the connection stands
            heed()
            return []
        # some servers answer with an empty message instead of BadMessageNotAvailable
        whole = all(m.SequenceNumber == n and m.NotificationData for m, n in zip(messages, missing, strict=True))
        return messages if whole else []
