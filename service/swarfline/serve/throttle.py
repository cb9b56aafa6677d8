"""How often a password may be tried: slower with each failure, never refused for good. Pure; time is told.

Counted by user and address together, by address, and by user from anywhere. The last only slows down, and not
addresses from which the user has signed in before: guessing must not keep a user out. Kept in memory: each process
counts for itself, from its start.
"""

from __future__ import annotations

import ipaddress
from typing import NamedTuple

SECOND = 1_000_000
FORGET_US = 3600 * SECOND
"""After so long without a failure none is remembered."""
MOST = 10_000
"""Counts that are kept; the oldest make room."""


class Rule(NamedTuple):
    """``free`` failures, then waiting that doubles from a second up to ``longest_us``."""

    free: int
    longest_us: int


BOTH = Rule(5, 900 * SECOND)
ADDRESS = Rule(30, 900 * SECOND)
USER = Rule(50, 10 * SECOND)

Key = tuple[Rule, str, str]


class Throttle:
    """Failed attempts. An attempt counts as failed from its beginning until it succeeds."""

    def __init__(self) -> None:
        self._failed: dict[Key, tuple[int, int]] = {}
        self._known: dict[tuple[str, str], None] = {}

    def begin(self, user: str, address: str, now_us: int) -> int:
        """Begin an attempt; how long to wait instead, in µs: 0 where it may be made."""
        network = network_of(address)
        keys = self._keys(user, network)
        wait_us = max(self._wait_us(key, now_us) for key in keys)
        if wait_us == 0:
            for key in keys:
                self._count(key, now_us)
        return wait_us

    def succeeded(self, user: str, address: str) -> None:
        """The attempt just begun was right."""
        network = network_of(address)
        for key in self._keys(user, network):
            count, at_us = self._failed.pop(key, (0, 0))
            if key[0] is not BOTH and count > 1:
                self._failed[key] = (count - 1, at_us)
        _bounded(self._known)
        self._known[(user, network)] = None

    def _keys(self, user: str, network: str) -> list[Key]:
        keys: list[Key] = [(BOTH, user, network), (ADDRESS, "", network)]
        if (user, network) not in self._known:
            keys.append((USER, user, ""))
        return keys

    def _wait_us(self, key: Key, now_us: int) -> int:
        count, at_us = self._failed.get(key, (0, 0))
        rule = key[0]
        if count < rule.free or now_us - at_us >= FORGET_US:
            return 0
        pause_us = min(rule.longest_us, SECOND << min(count - rule.free, 30))
        return max(0, at_us + pause_us - now_us)

    def _count(self, key: Key, now_us: int) -> None:
        count, at_us = self._failed.pop(key, (0, 0))
        _bounded(self._failed)
        self._failed[key] = (count + 1 if now_us - at_us < FORGET_US else 1, now_us)


def network_of(address: str) -> str:
    """Whose attempts are counted together: of IPv6 the /64 that one household or device has."""
    try:
        found = ipaddress.ip_address(address)
    except ValueError:
        return address
    return str(ipaddress.ip_network((found, 64), strict=False)) if found.version == 6 else address


def _bounded(kept: dict[object, object] | dict[Key, tuple[int, int]] | dict[tuple[str, str], None]) -> None:
    while len(kept) >= MOST:
        del kept[next(iter(kept))]  # type: ignore[arg-type]
