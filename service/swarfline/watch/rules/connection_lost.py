"""A server is not connected; or most of them are not, which is one alert of the plant.

When the network of a plant goes, every server is lost at once: then the plant has one alert, and none of a server
is raised until most are back. What is still lost then has its own delay anew, so that servers which come back one
by one raise nothing on the way.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

from swarfline.alerts import URGENT, Sighting
from swarfline.watch.wording import cut, listed

NAME = "connection_lost"

PLANT = "plant"
"""Subject of the alert that stands for many servers."""


@dataclass(frozen=True, slots=True)
class Link:
    """One server: whether it is connected, its last error, and the machines behind it."""

    server: str
    connected: bool
    error: str = ""
    machines: Sequence[str] = ()


class Settings(Protocol):
    """A part of [alerts.connection_lost], with the same meanings."""

    plant_pct: float
    plant_clear_pct: float


def subject(server: str) -> str:
    """``server/line``."""
    return f"server/{server}"


def see(links: Sequence[Link], settings: Settings, stands: bool) -> list[Sighting]:
    """The plant, then every server; ``stands``: the alert of the plant does."""
    lost = [link for link in links if not link.connected]
    wide = len(lost) >= 2 and 100 * len(lost) >= settings.plant_pct * len(links)
    many = bool(lost) and 100 * len(lost) > settings.plant_clear_pct * len(links)
    held_back = wide or (stands and many)
    whole = Sighting(NAME, "", PLANT, wide, not held_back, URGENT, _many(lost, links), _detail(lost))
    return [whole, *(_one(link, held_back) for link in links)]


def _one(link: Link, held_back: bool) -> Sighting:
    # the error is another at each attempt; in the text it would be told as a change each time
    seen = f"; not seen: {listed(link.machines)}" if link.machines else ""
    return Sighting(
        NAME,
        "",
        subject(link.server),
        not link.connected and not held_back,
        link.connected,
        URGENT,
        f"Server {link.server} is not connected{seen}",
        {"server": link.server, "machines": list(link.machines)[:100], "error": cut(link.error)},
    )


def _many(lost: Sequence[Link], links: Sequence[Link]) -> str:
    machines = sum(len(link.machines) for link in lost)
    names = listed([link.server for link in lost])
    return (
        f"{len(lost)} of {len(links)} servers are not connected ({names}), so {machines} machines are not seen; "
        "look at the network first"
    )


def _detail(lost: Sequence[Link]) -> dict[str, object]:
    return {"servers": [link.server for link in lost][:100]}
