"""Secrets stand outside of the plant file; it only says where."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path
from typing import Protocol


class NoSecret(Exception):
    """A secret is not where the plant file says; the message says what to do and never holds a secret."""


def secret(env: str | None, file: str | None, beside: Path, what: str) -> str:
    """The value of the variable ``env``, else the first line of ``file``, which lies ``beside`` the plant file.

    ``what`` says in messages what it is. Raises NoSecret.
    """
    if env is not None:
        found = os.environ.get(env)
        if not found:
            raise NoSecret(f"the environment variable {env}, which is to hold {what}, is not set for this process")
        return found
    path = beside / (file or "")
    try:
        lines = path.read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError) as problem:
        why = problem.strerror if isinstance(problem, OSError) else "is not UTF-8"
        raise NoSecret(f"{what} cannot be read from {path}: {why}") from None
    if not lines or not lines[0]:
        raise NoSecret(f"the first line of {path} is to be {what}, and is empty")
    return lines[0]


class SignsIn(Protocol):
    """A table of the plant file that names a user and where the password is."""

    @property
    def user(self) -> str | None: ...
    @property
    def password_env(self) -> str | None: ...
    @property
    def password_file(self) -> str | None: ...


def password_errors(table: SignsIn) -> Iterator[str]:
    """One line per thing that does not go together about a user and where its password is."""
    told = (("password_env", table.password_env), ("password_file", table.password_file))
    sources = [name for name, value in told if value is not None]
    if len(sources) > 1:
        yield "keys 'password_env' and 'password_file': give one of them"
    if sources and table.user is None:
        yield f"key {sources[0]!r}: is of no use without 'user'"
    if table.user is not None and not sources:
        yield "key 'user': name where its password is, by 'password_env' or 'password_file'"
