"""Who is signed in: sessions of browsers, tokens of programs and screens, and the name that entries bear.

A secret has 256 random bits; the database knows its SHA-256 only. Where the plant file's [listen] has no users,
everybody may do everything, and entries bear the name that they tell.
"""

from __future__ import annotations

import asyncio
import hashlib
import logging
import secrets
from collections.abc import Awaitable, Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass

from fastapi import Request

from swarfline.plant.model import Listen
from swarfline.sentence import N_
from swarfline.store import StoreError, Users
from swarfline.users import ENGINEER, SESSION, TOKEN, VIEWER, Role, SignIn, SignInKind, allows

TOUCH_US = 60_000_000
"""Use is written down no more often than this."""
RECHECK_S = 5.0
"""How long an open stream may outlive its session."""
LONGEST_ABOUT = 120
_BYTES = 32

_log = logging.getLogger(__name__)


@dataclass(frozen=True)
class Signed:
    """Who a request comes from."""

    name: str
    role: Role
    digest: str = ""
    kind: SignInKind = SESSION


ANYBODY = Signed("", ENGINEER)
"""Whoever asks, where nobody signs in."""

_present: ContextVar[Signed | None] = ContextVar("signed_in", default=ANYBODY)


@contextmanager
def acting(signed: Signed | None) -> Iterator[None]:
    """What happens within happens for somebody; None: for somebody who is not signed in."""
    token = _present.set(signed)
    try:
        yield
    finally:
        _present.reset(token)


def signed_in() -> Signed | None:
    """Who is signed in; None where nobody is, or where there are no users."""
    found = _present.get()
    return None if found is ANYBODY else found


def may(role: Role) -> bool:
    """Whether the one who asks may do what needs ``role``."""
    found = _present.get()
    return found is not None and allows(found.role, role)


def who(told: str) -> str:
    """The name that an entry bears: of whoever is signed in, or as told where there are no users.

    Raises ValueError where nobody's name is told, or another one than that of whoever is signed in.
    """
    signed = signed_in()
    if signed is None:
        if not told:
            raise ValueError(N_("tell who enters this"))
        return told
    if told and told != signed.name:
        raise ValueError(f"{told!r} is not who is signed in ({signed.name!r}); leave it out")
    return signed.name


def digest_of(secret: str) -> str:
    """What is kept of a secret."""
    return hashlib.sha256(secret.encode("utf-8", "surrogatepass")).hexdigest()


def new_secret() -> str:
    """256 random bits, as text for a cookie or a header."""
    return secrets.token_urlsafe(_BYTES)


def printable(text: str, most: int = LONGEST_ABOUT) -> str:
    """What a browser says of itself, short and without control characters."""
    return "".join(letter for letter in text[: 2 * most] if letter.isprintable())[:most]


class Signing:
    """The sessions and tokens of one service. ``clock_us`` is our own clock."""

    def __init__(self, listen: Listen, users: Users, clock_us: Callable[[], int]) -> None:
        self.needed = listen.users
        self.users = users
        self.recheck_s = RECHECK_S
        self._clock_us = clock_us
        self._longest_us = round(listen.session_h * 3_600_000_000)
        self._idle_us = round(listen.idle_min * 60_000_000)
        self._touching: set[asyncio.Task[None]] = set()

    @property
    def longest_s(self) -> int:
        """How long a session may last, in seconds."""
        return self._longest_us // 1_000_000

    def now_us(self) -> int:
        """Our own clock."""
        return self._clock_us()

    def begin(self, name: str, role: Role, about: str) -> str:
        """Begin a session; its secret. Raises StoreError."""
        secret, now_us = new_secret(), self._clock_us()
        end_us = now_us + self._longest_us
        one = SignIn(digest_of(secret), name, role, SESSION, now_us, now_us, end_us, printable(about))
        self.users.begin(one, now_us)
        return secret

    def by_cookie(self, secret: str) -> SignIn | None:
        """What a cookie stands for: a session, or a token that may only look."""
        found = self._lasting(digest_of(secret))
        return found if found is not None and (found.kind == SESSION or found.role == VIEWER) else None

    def by_token(self, secret: str) -> SignIn | None:
        """What a token stands for; sessions are none."""
        found = self._lasting(digest_of(secret))
        return found if found is not None and found.kind == TOKEN else None

    def ends_us(self, one: SignIn) -> int:
        """When it ends if it is used no more."""
        return min(one.ends_us, one.used_us + self._idle_us) if one.kind == SESSION else one.ends_us

    def _lasting(self, digest: str) -> SignIn | None:
        found = self.users.sign_in(digest)
        return None if found is None or self.ends_us(found) <= self._clock_us() else found

    def used(self, one: SignIn) -> None:
        """It is used; written down now and then, and by the way: a busy database must not hold up an answer."""
        now_us = self._clock_us()
        if now_us - one.used_us >= TOUCH_US and not self._touching:
            task = asyncio.create_task(asyncio.to_thread(self._touch, one.digest, now_us))
            self._touching.add(task)
            task.add_done_callback(self._touching.discard)

    def _touch(self, digest: str, now_us: int) -> None:
        try:
            self.users.touch(digest, now_us)
        except StoreError as problem:
            _log.warning("the use of a session was not written down: %s", problem)

    def holding(self, signed: Signed | None) -> Callable[[], Awaitable[bool]] | None:
        """Tells, as often as asked, whether somebody is signed in still; looks now and then only. None: always."""
        if not self.needed or signed is None:
            return None
        loop = asyncio.get_running_loop()
        looked = loop.time()

        async def holds() -> bool:
            nonlocal looked
            if loop.time() - looked < self.recheck_s:
                return True
            looked = loop.time()
            return await asyncio.to_thread(self._lasting, signed.digest) is not None

        return holds


def signing_of(request: Request) -> Signing:
    """The sessions of this application."""
    found = request.app.state.signing
    assert isinstance(found, Signing)
    return found
