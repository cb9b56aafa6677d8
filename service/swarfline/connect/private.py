"""Files that nobody but their owner can read or change: keys, and which servers are approved."""

from __future__ import annotations

import contextlib
import fcntl
import os
import stat
import tempfile
from collections.abc import Iterator
from pathlib import Path

from swarfline.connect.reasons import Ended

FOLDER = "certificates"
_LOCK = "lock"


def write(path: Path, content: bytes) -> None:
    """A file that only its owner can read, whole or not at all, in a folder that only its owner can enter.

    Raises Ended where others could change what is in the folder, or where it cannot be written.
    """
    with usable(path):
        _make(path.parent)
        handle, name = tempfile.mkstemp(dir=path.parent)
        with os.fdopen(handle, "wb") as file:
            file.write(content)
        Path(name).replace(path)


@contextlib.contextmanager
def alone(folder: Path) -> Iterator[None]:
    """Waits until no other thread or process is at work in the folder, which is made where there is none.

    Raises Ended where the folder cannot be used. The lock is the system's: it ends with its process.
    """
    with usable(folder):
        _make(folder)
        held = os.open(folder / _LOCK, os.O_RDWR | os.O_CREAT, 0o600)
        try:
            fcntl.flock(held, fcntl.LOCK_EX)
            yield
        finally:
            os.close(held)


def guarded(folder: Path) -> None:
    """Raises Ended where others can write in the folder, or in the one of all certificates above it."""
    for which in (folder.parent, folder) if folder.parent.name == FOLDER else (folder,):
        if which.exists() and which.stat().st_mode & (stat.S_IWGRP | stat.S_IWOTH):
            raise Ended(f"others can write in {which}, and so could approve servers: take that away (chmod 700)")


def secret(path: Path) -> None:
    """Raises Ended where others can read the file."""
    if path.stat().st_mode & (stat.S_IRWXG | stat.S_IRWXO):
        raise Ended(f"others can read {path}, which must stay with its owner: take that away (chmod 600)")


def _make(folder: Path) -> None:
    if folder.parent.name == FOLDER:
        _make(folder.parent)
    # mkdir takes its mode for the last folder only, which is why each is made by itself
    folder.mkdir(mode=0o700, exist_ok=True)
    guarded(folder)


@contextlib.contextmanager
def usable(path: Path) -> Iterator[None]:
    """Raises Ended, with the path, where the system refuses what is done to it."""
    try:
        yield
    except OSError as problem:
        raise Ended(
            f"{problem.filename or path} cannot be used ({problem.strerror}): the folder {FOLDER!r} beside the "
            "plant file has to belong to the user that runs the service; run swarfline trust as that user"
        ) from None
