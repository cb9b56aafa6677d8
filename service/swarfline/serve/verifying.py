"""Whether a password is right: one at a time, slower after failures, and as slow for names that nobody has."""

from __future__ import annotations

import asyncio
import logging
from http import HTTPStatus

from swarfline import passwords
from swarfline.serve.signing import Signing
from swarfline.serve.throttle import SECOND, Throttle
from swarfline.store import StoreError
from swarfline.users import User, key_of

QUEUE = 8
"""Attempts that may wait for their turn; each takes a fraction of a second and some 32 MiB."""
BUSY_S = 2

_log = logging.getLogger(__name__)


class Denied(Exception):
    """The attempt failed (403), or cannot be made before ``wait_s`` have passed (429)."""

    def __init__(self, status: HTTPStatus, wait_s: int = 0) -> None:
        super().__init__(status.phrase)
        self.status = status
        self.wait_s = wait_s


class Verifier:
    """Attempts of one service."""

    def __init__(self, signing: Signing) -> None:
        self._signing = signing
        self._throttle = Throttle()
        self._turn = asyncio.Semaphore(1)
        self._waiting = 0

    async def check(self, name: str, password: str, address: str) -> User:
        """The user whose name and password these are; raises Denied."""
        if self._waiting >= QUEUE:
            raise Denied(HTTPStatus.TOO_MANY_REQUESTS, BUSY_S)
        wait_us = self._throttle.begin(key_of(name), address, self._signing.now_us())
        if wait_us > 0:
            raise Denied(HTTPStatus.TOO_MANY_REQUESTS, -(-wait_us // SECOND))
        self._waiting += 1
        try:
            async with self._turn:
                user, known = await asyncio.to_thread(self._look, name, password)
        finally:
            self._waiting -= 1
        if user is None:
            # a name that nobody has may be a password that was typed into the wrong field
            _log.warning("signing in failed: %s from %s", repr(name) if known else "an unknown name", address)
            raise Denied(HTTPStatus.FORBIDDEN)
        self._throttle.succeeded(key_of(name), address)
        return user

    def _look(self, name: str, password: str) -> tuple[User | None, bool]:
        found = self._signing.users.find(name)
        user, kept = found or (None, None)
        right = passwords.matches(password, kept)
        if user is not None and kept is not None and right and passwords.is_outdated(kept):
            self._keep_anew(user, kept, password)
        return (user if right else None), user is not None

    def _keep_anew(self, user: User, kept: str, password: str) -> None:
        try:
            self._signing.users.keep_anew(user.name, kept, passwords.hashed(password))
        except StoreError as problem:
            _log.warning("the password of %s stays as it was kept: %s", user.name, problem)
