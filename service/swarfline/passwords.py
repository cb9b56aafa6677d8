"""Passwords: kept as scrypt (RFC 7914) with salt and parameters, so that the cost can be raised later.

A kept password reads ``scrypt$15$8$3$SALT$KEY``: log2 of N, r, p, and salt and key in base64.
"""

from __future__ import annotations

import hashlib
import hmac
import secrets
import unicodedata
from base64 import b64decode, b64encode
from typing import NamedTuple

from swarfline.sentence import N_, Sentence

SHORTEST = 12
LONGEST = 200
FEWEST_DIFFERENT = 5
SALT_BYTES = 16
KEY_BYTES = 32


class Cost(NamedTuple):
    """What scrypt takes: 128 × r × N bytes of memory, p times."""

    log_n: int
    r: int
    p: int


COST = Cost(15, 8, 3)
"""32 MiB; one of the equal choices that OWASP's password storage cheat sheet lists (from memory)."""


def hashed(password: str, cost: Cost = COST) -> str:
    """A password as it is kept."""
    salt = secrets.token_bytes(SALT_BYTES)
    return "$".join(("scrypt", *map(str, cost), _text(salt), _text(_key(password, salt, cost, KEY_BYTES))))


def matches(password: str, kept: str | None) -> bool:
    """Whether it is the password that was kept; None matches nothing and takes as long as any other."""
    cost, salt, key = _parts(kept or _NOBODYS)
    found = hmac.compare_digest(_key(password, salt, cost, len(key)), key)
    return found and kept is not None


def is_outdated(kept: str) -> bool:
    """Whether it was kept at another cost than is taken now."""
    return _parts(kept)[0] != COST


def weakness(password: str, name: str) -> Sentence | None:
    """Why a new password is not taken for the user ``name``; None: it is."""
    plain = _normal(password)
    if len(plain) < SHORTEST:
        text = N_("has {count} characters; at least {least} are needed: several words are easy to type")
        return Sentence(text, {"count": len(plain), "least": SHORTEST})
    if len(plain) > LONGEST:
        return Sentence(
            N_("has {count} characters; at most {most} are taken"), {"count": len(plain), "most": LONGEST}
        )
    if len(set(plain)) < FEWEST_DIFFERENT:
        text = N_("is made of {count} different characters; at least {least} are needed")
        return Sentence(text, {"count": len(set(plain)), "least": FEWEST_DIFFERENT})
    if name and plain.casefold().replace(name.casefold(), "").strip() == "":
        return Sentence(N_("is the user's name"))
    return None


def _normal(password: str) -> str:
    """Composed letters (NFC, as RFC 8265 has it for passwords), so that the keyboard does not matter."""
    return unicodedata.normalize("NFC", password)


def _key(password: str, salt: bytes, cost: Cost, length: int) -> bytes:
    text = _normal(password).encode("utf-8", "surrogatepass")
    memory = 128 * cost.r * ((1 << cost.log_n) + cost.p + 2)
    return hashlib.scrypt(
        text, salt=salt, n=1 << cost.log_n, r=cost.r, p=cost.p, maxmem=memory + (1 << 20), dklen=length
    )


def _parts(kept: str) -> tuple[Cost, bytes, bytes]:
    _, log_n, r, p, salt, key = kept.split("$")
    return Cost(int(log_n), int(r), int(p)), b64decode(salt), b64decode(key)


def _text(value: bytes) -> str:
    return b64encode(value).decode("ascii")


_NOBODYS = "$".join(("scrypt", *map(str, COST), _text(bytes(SALT_BYTES)), _text(bytes(KEY_BYTES))))
"""What is compared with where there is no user or no password, so that the answer takes the same time."""
