"""A server sends codes that the plant file gives no meaning; what they say counts as unknown."""

from __future__ import annotations

from collections.abc import Mapping

from swarfline.alerts import INFORMATION, Sighting
from swarfline.watch.wording import cut, listed

NAME = "codes_unmapped"


def see(server: str, unmapped: Mapping[str, str]) -> Sighting:
    """Whether there are such codes; ``unmapped``: the last one since the start, by ``machine/signal``."""
    where = sorted(unmapped)
    return Sighting(
        NAME,
        "",
        f"server/{server}",
        bool(where),
        not where,
        INFORMATION,
        f"Server {server} sends codes without a meaning in the plant file: {listed(where)}",
        {"server": server, "codes": {cut(name): cut(unmapped[name]) for name in where[:20]}},
    )
