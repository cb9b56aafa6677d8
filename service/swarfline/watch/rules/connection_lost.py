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
from swarfline.sentence import N_, Sentence
from swarfline.watch.wording import Seen, cut, listed, text_of

NAME = "connection_lost"

PLANT = "plant"
"""Subject of the alert that stands for many servers."""
MOST = 100
"""So many servers or machines are named in a detail, which counts all."""


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
    detail = _many(lost, links)
    whole = Sighting(NAME, "", PLANT, wide, not held_back, URGENT, text_of(say, "", detail), detail)
    return [whole, *(_one(link, held_back) for link in links)]


def _one(link: Link, held_back: bool) -> Sighting:
    detail: dict[str, object] = {
        "server": link.server,
        "machines": list(link.machines)[:MOST],
        "machine_count": len(link.machines),
        "error": cut(link.error),
    }
    active = not link.connected and not held_back
    text = text_of(say, "", detail)
    return Sighting(NAME, "", subject(link.server), active, link.connected, URGENT, text, detail)


def _many(lost: Sequence[Link], links: Sequence[Link]) -> dict[str, object]:
    return {
        "servers": [link.server for link in lost][:MOST],
        "lost": len(lost),
        "known": len(links),
        "machine_count": sum(len(link.machines) for link in lost),
    }


def say(seen: Seen) -> Sentence:
    """Which server is lost, or how many are."""
    if "servers" in seen:
        text = N_(
            "{lost} of {known} servers are not connected ({names}), so {machines} machines are not seen; "
            "look at the network first"
        )
        names, machines = listed(seen["servers"], seen["lost"]), seen["machine_count"]
        return Sentence(text, {"lost": seen["lost"], "known": seen["known"], "names": names, "machines": machines})
    # the error is another at each attempt; in the text it would be told as a change each time
    if not seen["machine_count"]:
        return Sentence(N_("Server {server} is not connected"), {"server": seen["server"]})
    return Sentence(
        N_("Server {server} is not connected; not seen: {machines}"),
        {"server": seen["server"], "machines": listed(seen["machines"], seen["machine_count"])},
    )
