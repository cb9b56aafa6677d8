"""A server sends codes that the plant file gives no meaning; what they say counts as unknown."""

from __future__ import annotations

from collections.abc import Mapping

from swarfline.alerts import INFORMATION, Sighting
from swarfline.sentence import N_, Sentence
from swarfline.watch.wording import Seen, cut, listed, text_of

NAME = "codes_unmapped"


def see(server: str, unmapped: Mapping[str, str]) -> Sighting:
    """Whether there are such codes; ``unmapped``: the last one since the start, by ``machine/signal``."""
    where = sorted(unmapped)
    detail: dict[str, object] = {
        "server": server,
        "codes": {cut(name): cut(unmapped[name]) for name in where[:20]},
        "count": len(where),
    }
    return Sighting(
        NAME,
        "",
        f"server/{server}",
        bool(where),
        not where,
        INFORMATION,
        text_of(say, "", detail),
        detail,
    )


def say(seen: Seen) -> Sentence:
    """Which signals have such codes."""
    return Sentence(
        N_("Server {server} sends codes without a meaning in the plant file: {where}"),
        {"server": seen["server"], "where": listed(sorted(seen["codes"]), seen["count"])},
    )
