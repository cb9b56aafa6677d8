"""The wall: one address for a screen across the hall, without anybody to touch it."""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil

from fastapi import FastAPI, Request
from starlette.responses import Response

from swarfline.plant import Machine
from swarfline.serve.page.board import SHOWN_US, Board
from swarfline.serve.page.choosing import choose
from swarfline.serve.page.pages import pages_of
from swarfline.serve.room import InRoom
from swarfline.serve.tongue import language

MOST = 6
"""Machines that are legible together at eight metres on a screen 1.2 m wide; more take turns."""


def sheets(machines: Sequence[Machine]) -> list[list[Machine]]:
    """The machines in sheets of MOST at most, as equal as can be."""
    count = ceil(len(machines) / MOST) or 1
    size = ceil(len(machines) / count)
    return [list(machines[at : at + size]) for at in range(0, len(machines), size)]


def install(app: FastAPI) -> None:
    """Serve this page of ``app``."""

    @app.get("/wall", include_in_schema=False)
    def wall(request: Request, room: InRoom) -> Response:
        chosen = choose(request, room)
        board: Board = app.state.boards[language()]
        board.refresh(SHOWN_US)
        look = board.look()
        return pages_of(app).answer(
            "wall.html",
            whose=chosen.whose,
            sheets=sheets(chosen.machines),
            cells=look["cells"],
            alerts=look["alerts"],
        )
