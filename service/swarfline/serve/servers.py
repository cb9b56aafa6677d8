"""/servers: the connections to OPC UA servers, as the collector last told them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Literal

from fastapi import APIRouter
from pydantic import Field

from swarfline.plant import Server
from swarfline.serve.presence import SILENCE_US, presence
from swarfline.serve.reply import Replying
from swarfline.serve.room import InRoom, Room
from swarfline.serve.shapes import Listing, Shape
from swarfline.serve.table import OPENAPI
from swarfline.serve.times import seconds, show_or_none

router = APIRouter(tags=["servers"])


class IgnoredValue(Shape):
    """The last thing of a signal that could not be used."""

    kind: str = Field(description="one of the kinds of docs/connections.md")
    value: str = Field(description="the raw value, cut; text of a server")


class ServerRow(Shape):
    """One server's connection; null is: not known."""

    server: str
    endpoint: str
    machines: list[str]
    security: str = Field(description="security policy and mode asked for; None: no security")
    user: Literal["anonymous", "user name", "certificate"] = Field(description="as whom we come")
    state: Literal["connecting", "connected", "waiting", "unknown"] = Field(
        description="waiting: for the next attempt; unknown: the collector has not told for 30 s"
    )
    since: str | None
    seen: str | None = Field(description="when the collector last told, by our clock")
    last_error: str
    attempts: int | None
    reconnects: int | None
    next_attempt: str | None
    changes: int | None = Field(description="changes received")
    overflows: int | None = Field(description="queues of the server that ran over")
    changes_per_s: float | None = Field(description="of the last ten seconds or so")
    lag_s: float | None = Field(
        description="our clock at the last commit minus the newest time told, of the machine furthest behind"
    )
    sequence_gaps: int | None = Field(description="notifications that were missed")
    readbacks: int | None = Field(description="losses of machines closed by the server's history")
    last_readback: str | None = Field(description="when history was last read back")
    republished: int | None = Field(description="notifications that were missed at first and had on asking again")
    signals: int | None = Field(description="signals granted")
    refused: dict[str, str] = Field(description="reason by machine/signal")
    unmapped: dict[str, str] = Field(description="last code without a meaning, by machine/signal")
    ignored: dict[str, int] | None = Field(
        description="how often something could not be used, by kind, since the collector's start"
    )
    ignored_last: dict[str, IgnoredValue] = Field(
        description="the last of them by machine/signal; the newest signals only"
    )
    clock_offset_s: float | None = Field(description="the server's clock minus ours")
    publishing_ms: float | None = Field(description="granted")
    sampling_ms: float | None = Field(description="granted, the slowest")
    queue_size: int | None = Field(description="granted, the shortest")
    remarks: list[str] = Field(description="where the server grants less than was asked, and what that means")
    last_life: str | None = Field(description="newest proof of life")


@router.get("/servers", response_model=Listing[ServerRow], responses=OPENAPI)
def list_servers(room: InRoom, reply: Replying) -> Any:
    """Every server of the plant file."""
    return reply.listing(ServerRow, server_rows(room))


def server_rows(room: Room) -> list[ServerRow]:
    """Every server of the plant file, in its order."""
    told = {status["server"]: status for status in room.queries.servers()}
    return [server_row(room, server, told.get(server.id)) for server in room.plant.servers]


def server_row(room: Room, server: Server, told: Mapping[str, Any] | None) -> ServerRow:
    """One server as sent; a status that is no longer renewed says nothing of the present."""
    status = told or {}
    seen_us = status.get("seen_us")
    fresh = seen_us is not None and room.clock_us() - seen_us <= SILENCE_US
    offset_us = status.get("clock_offset_us")
    return ServerRow(
        server=server.id,
        endpoint=server.endpoint,
        machines=[m.id for m in server.machines],
        security=server.security.channel,
        user=server.security.user_kind,
        state=status["state"] if fresh else "unknown",
        since=show_or_none(status.get("since_us") if fresh else seen_us, room.zone),
        seen=show_or_none(seen_us, room.zone),
        last_error=status.get("last_error", ""),
        attempts=status.get("attempts"),
        reconnects=status.get("reconnects"),
        next_attempt=show_or_none(status.get("next_attempt_us") if fresh else None, room.zone),
        changes=status.get("changes"),
        overflows=status.get("overflows"),
        changes_per_s=status.get("changes_per_s") if fresh else None,
        lag_s=lag_s(room, [m.id for m in server.machines]) if fresh else None,
        sequence_gaps=status.get("sequence_gaps"),
        readbacks=status.get("readbacks"),
        last_readback=show_or_none(status.get("last_readback_us"), room.zone),
        republished=status.get("republished"),
        signals=status.get("signals"),
        refused=dict(status.get("refused", {})),
        unmapped=dict(status.get("unmapped", {})),
        ignored=status.get("ignored"),
        ignored_last={
            name: IgnoredValue(kind=kind, value=value)
            for name, (kind, value) in status.get("ignored_last", {}).items()
        },
        clock_offset_s=None if offset_us is None else seconds(offset_us),
        publishing_ms=status.get("revised_publishing_ms"),
        sampling_ms=status.get("revised_sampling_ms"),
        queue_size=status.get("revised_queue_size"),
        remarks=list(status.get("remarks", ())),
        last_life=show_or_none(status.get("last_life_us"), room.zone),
    )


def lag_s(room: Room, machines: list[str]) -> float | None:
    """Of machines that are linked: of the others nothing is awaited."""
    seen = [p for p in (presence(room, m) for m in machines) if p.linked]
    lags = [p.received_us - p.at_us for p in seen if p.received_us is not None and p.at_us is not None]
    return seconds(max(lags)) if lags else None
