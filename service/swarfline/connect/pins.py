"""Approved certificates of servers, on disk: which one, and which of its defects a person accepted."""

from __future__ import annotations

import base64
import binascii
import json
from dataclasses import dataclass
from pathlib import Path

from swarfline.connect.private import guarded, usable, write
from swarfline.connect.reasons import Ended


@dataclass(frozen=True, slots=True)
class Pin:
    """An approved certificate (DER) and the kinds of defects that were accepted with it."""

    certificate: bytes
    accepted: tuple[str, ...] = ()


def _path(folder: Path, server: str) -> Path:
    # ids of servers hold letters, digits, dots, dashes and underscores, and begin with neither of the last three
    return folder / "servers" / f"{server}.json"


def read(folder: Path, server: str) -> Pin | None:
    """The approved certificate of a server; raises Ended where it cannot be understood or relied on."""
    path = _path(folder, server)
    with usable(path):
        guarded(path.parent)
        if not path.exists():
            return None
        text = path.read_bytes()
    try:
        found = json.loads(text)
        return Pin(base64.b64decode(found["certificate"], validate=True), tuple(map(str, found["accepted"])))
    except (ValueError, KeyError, TypeError, binascii.Error):
        raise Ended(f"{path} cannot be understood; remove it and approve the server again") from None


def keep(folder: Path, server: str, pin: Pin) -> Path:
    """Write it; where it is."""
    path = _path(folder, server)
    text = base64.b64encode(pin.certificate).decode()
    write(path, json.dumps({"certificate": text, "accepted": list(pin.accepted)}, indent=1).encode())
    return path


def forget(folder: Path, server: str) -> bool:
    """Approve it no longer; False where it was not approved."""
    path = _path(folder, server)
    if not path.exists():
        return False
    path.unlink()
    return True
