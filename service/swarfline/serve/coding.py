"""gzip for whoever takes it (RFC 9110 sections 8.4.1.3 and 12.5.3).

The length of a compressed answer can betray a secret in it that stands beside text which an attacker chooses.
No answer of ours holds one: sessions live in cookies, tokens are shown by the command line only.
"""

from __future__ import annotations

import asyncio
import gzip

LEAST = 1_000
"""Bytes below which compressing saves no packet."""
LARGE = 200_000
"""Bytes from which compressing would hold up the event loop for milliseconds."""
LEVEL = 5
_NAMES = ("gzip", "x-gzip")


def takes_gzip(accept_encoding: str | None) -> bool:
    """Whether an Accept-Encoding header allows gzip. None: it was not sent, and nothing is assumed."""
    weights: dict[str, bool] = {}
    for item in (accept_encoding or "").lower().split(","):
        name, *parameters = (part.strip() for part in item.split(";"))
        weights[name] = all(_weight(one) > 0 for one in parameters if one.startswith("q="))
    named = [weights[name] for name in _NAMES if name in weights]
    return any(named) if named else weights.get("*", False)


def _weight(parameter: str) -> float:
    try:
        return float(parameter.removeprefix("q="))
    except ValueError:
        return 0.0


def gzipped(body: bytes, level: int = LEVEL) -> bytes:
    """The body compressed; the same bytes for the same body."""
    return gzip.compress(body, level, mtime=0)


async def gzipped_aside(body: bytes) -> bytes:
    """The body compressed, a large one in a thread of its own."""
    return await asyncio.to_thread(gzipped, body) if len(body) > LARGE else gzipped(body)
