"""Who may look and enter: users with their roles, and what they are signed in by."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from typing import Literal

Role = Literal["viewer", "operator", "engineer"]
VIEWER: Role = "viewer"
OPERATOR: Role = "operator"
ENGINEER: Role = "engineer"
ROLES: tuple[Role, ...] = (VIEWER, OPERATOR, ENGINEER)
"""Each may do what those before it may: look; enter and acknowledge; set targets and everything else."""

SignInKind = Literal["session", "token"]
SESSION: SignInKind = "session"
"""Begun by a password, in a browser; ends after a while of no use."""
TOKEN: SignInKind = "token"
"""Made on the command line, for a program or a screen; ends on its day."""

LONGEST_NAME = 40
_NAME = re.compile(r"[^\W_](?:[\w .'@-]*[\w.])?")


@dataclass(frozen=True)
class User:
    """Somebody, or something such as a wall screen, that may sign in. Without a password only by tokens."""

    name: str
    role: Role
    has_password: bool
    made_us: int


@dataclass(frozen=True)
class SignIn:
    """A session or a token. Of its secret only the ``digest`` (SHA-256, hexadecimal) is known.

    ``role`` is what it may do: never more than its user may. ``about`` says by what it is used.
    """

    digest: str
    user: str
    role: Role
    kind: SignInKind
    made_us: int
    used_us: int
    ends_us: int
    about: str = ""


def allows(role: Role, needed: Role) -> bool:
    """Whether somebody of ``role`` may do what needs ``needed``."""
    return ROLES.index(role) >= ROLES.index(needed)


def lesser(one: Role, other: Role) -> Role:
    """The role of the two that may less."""
    return min(one, other, key=ROLES.index)


def clean(name: str) -> str:
    """A name as it is kept: composed letters (NFC), single spaces."""
    return unicodedata.normalize("NFC", " ".join(name.split()))


def key_of(name: str) -> str:
    """What two names that read the same have in common; letter case does not part users."""
    return unicodedata.normalize("NFKC", clean(name)).casefold()


def name_error(name: str) -> str | None:
    """Why a clean name cannot be one of a user; None: it can."""
    if len(name) > LONGEST_NAME:
        return f"has {len(name)} characters; at most {LONGEST_NAME} are allowed"
    if not _NAME.fullmatch(name):
        return "must begin with a letter or digit and go on with letters, digits, spaces and . _ ' @ -"
    return None
