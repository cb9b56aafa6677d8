"""The page of connections: every server as the collector last told, and the gaps of the last day."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from fastapi import FastAPI
from starlette.responses import Response

from swarfline.calendar import Interval, total
from swarfline.capability import TOOLS, abilities, signals_of
from swarfline.facts import Gap
from swarfline.plant import Machine, Server
from swarfline.serve.page import words
from swarfline.serve.page.pages import pages_of
from swarfline.serve.presence import presence
from swarfline.serve.room import InRoom, Room
from swarfline.serve.servers import server_rows
from swarfline.serve.times import show_or_none
from swarfline.serve.tongue import gettext as _
from swarfline.signals import tool_signal

DAY_US = 86_400_000_000
MOST_GAPS = 10
"""Newest gaps of a server that are listed; the API has all of them."""


@dataclass(frozen=True, slots=True)
class GapLine:
    """A gap of one machine in words."""

    machine: str
    start: str
    end: str
    length: str
    reason: str


@dataclass(frozen=True, slots=True)
class Untold:
    """Figures that cannot be told of a machine: which signals are missing for them, and what happens instead."""

    what: str
    missing: str
    without: str


@dataclass(frozen=True, slots=True)
class Gaps:
    """Gaps of a server's machines in the last 24 hours."""

    count: int
    share: str
    lines: list[GapLine]


def gaps_of(room: Room, server: Server, now_us: int) -> Gaps:
    """The gaps of a server's machines; ``share`` of the 24 hours, of all of its machines together."""
    span = (now_us - DAY_US, now_us)
    found = [gap for m in server.machines for gap in _gaps(room, m.id, span)]
    lost = total((max(g.start_us, span[0]), min(g.end_us, span[1])) for g in found)
    newest = sorted(found, key=lambda g: -g.start_us)[:MOST_GAPS]
    share = words.percent(lost / (DAY_US * len(server.machines)))
    return Gaps(len(found), share, [_line(room, gap, now_us) for gap in newest])


def _gaps(room: Room, machine: str, span: Interval) -> list[Gap]:
    """The gaps of one machine; one that goes on reaches up to the present, told by the collector or not."""
    found: list[Gap] = room.queries.facts(Gap, machine, *span)
    open_ = [gap for gap in found if gap.open]
    seen = presence(room, machine)
    if seen.linked:
        return found
    if open_:
        return [gap for gap in found if not gap.open] + [replace(open_[-1], end_us=span[1])]
    if seen.since_us is None or seen.since_us >= span[1]:
        return found
    # facts tell of a gap as far as the collector has got; while it is silent, or sees no state, that is not far
    since_us = max(seen.since_us, max((gap.end_us for gap in found), default=seen.since_us))
    return [*found, Gap(machine, since_us, span[1], "", open=True)]


def losses_of(room: Room, server: Server, refused: Mapping[str, str]) -> list[tuple[str, tuple[Untold, ...]]]:
    """What cannot be told of a server's machines for signals that are missing; alike ones together."""
    alike: dict[tuple[Untold, ...], list[str]] = {}
    for machine in server.machines:
        alike.setdefault(_untold(room, machine, refused), []).append(machine.name or machine.id)
    return [(", ".join(names), lines) for lines, names in alike.items() if lines]


def _untold(room: Room, machine: Machine, refused: Mapping[str, str]) -> tuple[Untold, ...]:
    mapped = signals_of(room.plant, machine)
    there = [signal for signal in mapped if not _refused(room, machine, signal, refused)]
    return tuple(
        Untold(
            family_words(ability.family),
            _missing(ability.missing, mapped),
            words.say(ability.without) if ability.without else "",
        )
        for ability in abilities(there)
        if not ability.can
    )


def _refused(room: Room, machine: Machine, signal: str, refused: Mapping[str, str]) -> bool:
    """Whether a server grants nothing of a signal; a field of tools is had if one tool's is."""
    if not signal.startswith(f"{TOOLS}."):
        return f"{machine.id}/{signal}" in refused
    if f"{machine.id}/{TOOLS}" in refused:
        return True
    tools, field = room.plant.tools_of(machine), signal.removeprefix(f"{TOOLS}.")
    if tools.objects is not None:
        return False
    keys = [key for key, fields in tools.each.items() if field in fields]
    return all(f"{machine.id}/{tool_signal(key, field)}" in refused for key in keys)


def _missing(groups: Sequence[str], mapped: Sequence[str]) -> str:
    """The signals that are missing, of each group one would do, by why they are."""
    refused = [group for group in groups if any(name in mapped for name in group.split(" or "))]
    told = (
        (_("refused by the server: %s"), refused),
        (_("not in the plant file: %s"), [group for group in groups if group not in refused]),
    )
    return "; ".join(text % ", ".join(map(_either, found)) for text, found in told if found)


def _either(group: str) -> str:
    return group.replace(" or ", _(" or "))


def family_words(family: str) -> str:
    """A family of figures (capability.NEEDS) in words."""
    return {
        "conditions": _("conditions and stops"),
        "production": _("parts, effectiveness, OEE"),
        "quality": _("quality ratio"),
        "scrap": _("scrap ratio"),
        "cycles": _("cycle times"),
        "steps": _("steps of cycles"),
        "setup": _("setup time"),
        "holds": _("holds"),
        "faults": _("faults"),
        "tool_times": _("times of tools"),
        "tool_life": _("tool lives"),
        "tool_forecast": _("how long tools last"),
        "tool_history": _("history of tool lives"),
        "tool_loads": _("loads of tools"),
        "energy": _("energy"),
    }[family]


def _line(room: Room, gap: Gap, now_us: int) -> GapLine:
    end = _("goes on") if gap.open else words.clock(gap.end_us, room.zone, now_us)
    start = words.clock(gap.start_us, room.zone, now_us)
    return GapLine(gap.machine, start, end, words.length(gap.end_us - gap.start_us), words.gap(gap.reason))


def state_words(state: str) -> str:
    """How a connection stands, in words."""
    return {
        "connected": _("connected"),
        "connecting": _("connecting"),
        "waiting": _("waiting for the next attempt"),
    }.get(state) or _("not known: the collector is silent")


def install(app: FastAPI) -> None:
    """Serve this page of ``app``."""

    @app.get("/connections", include_in_schema=False)
    def connections(room: InRoom) -> Response:
        now_us = room.now_us()
        gaps = {s.id: gaps_of(room, s, now_us) for s in room.plant.servers}
        at = show_or_none(room.clock_us(), room.zone)
        rows = server_rows(room)
        refused = {row.server: row.refused for row in rows}
        return pages_of(app).answer(
            "connections.html",
            servers=rows,
            gaps=gaps,
            losses={s.id: losses_of(room, s, refused[s.id]) for s in room.plant.servers},
            at=at,
            state_words=state_words,
        )
