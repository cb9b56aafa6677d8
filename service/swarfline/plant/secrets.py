"""Secrets stand outside of the plant file; it only says where."""

from __future__ import annotations

import os
from pathlib import Path


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
