"""/health/live and /health/ready: for supervisors and container health checks."""

from __future__ import annotations

import logging
from typing import Any, Literal

from fastapi import APIRouter, Request, Response

from swarfline.serve.problems import MEDIA_TYPE, answer
from swarfline.serve.room import InRoom
from swarfline.serve.servers import server_rows
from swarfline.serve.shapes import Shape

router = APIRouter(prefix="/health", tags=["health"])

_log = logging.getLogger(__name__)

_UNREADY: dict[int | str, dict[str, Any]] = {
    503: {
        "description": "The database does not answer",
        "content": {MEDIA_TYPE: {"schema": {"$ref": "#/components/schemas/ProblemDocument"}}},
    }
}


class AliveShape(Shape):
    """The process answers."""

    status: Literal["alive"]


class ServerState(Shape):
    """A server's connection in one word."""

    server: str
    state: str


class ReadyShape(Shape):
    """The database answers and the plant is loaded. Servers may still be away: that is no reason to restart."""

    status: Literal["ready"]
    plant: str
    servers: list[ServerState]


@router.get("/live")
def read_alive() -> AliveShape:
    """Whether the process answers."""
    return AliveShape(status="alive")


@router.get("/ready", response_model=ReadyShape, responses=_UNREADY)
def read_ready(request: Request, room: InRoom) -> ReadyShape | Response:
    """Whether answers can be given."""
    try:
        room.queries.reachable()
        rows = server_rows(room)
    except Exception as error:
        _log.warning("not ready: %s", error)
        return answer(request, 503, "The database does not answer.")
    states = [ServerState(server=r.server, state=r.state) for r in rows]
    return ReadyShape(status="ready", plant=room.plant.plant.name, servers=states)
