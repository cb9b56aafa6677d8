"""The pages: the plant now, the machines, the connections, and what the API offers."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import Any

from fastapi import FastAPI, Request
from starlette.responses import RedirectResponse, Response

from swarfline.plant import Machine
from swarfline.serve.page import (
    alerts,
    connections,
    cycles,
    energy,
    machine_pages,
    notifications,
    one_cycle,
    production,
    production_stops,
    reports,
    runoffs,
    studies,
    tools,
    wall,
    words,
)
from swarfline.serve.page.board import SHOWN_US, Board, shift_or_day
from swarfline.serve.page.pages import Pages
from swarfline.serve.page.shift_notes import shift_notes
from swarfline.serve.problems import Complaint, Said
from swarfline.serve.room import InRoom, Room
from swarfline.serve.tongue import gettext as _
from swarfline.serve.tongue import language


def _by_cell(room: Room) -> list[tuple[str, list[Machine]]]:
    groups: dict[str, list[Machine]] = {}
    for machine in room.plant.machines:
        groups.setdefault(room.cell_name(machine.cell), []).append(machine)
    return list(groups.items())


def _problem(pages: Pages, status: int, said: Said, complaints: Sequence[Complaint]) -> str:
    """The page that says what was wrong with a request."""
    title = {
        400: _("This cannot be read"),
        401: _("Sign in first"),
        403: _("This is not allowed"),
        404: _("There is no such page"),
        409: _("This is not possible any more"),
        413: _("This is too large"),
        422: _("This cannot be answered"),
        503: _("This is not possible now"),
    }
    return pages.text(
        "problem.html",
        status=status,
        title=title.get(status) or _("Something went wrong"),
        detail=words.say(said),
        complaints=[
            (one.parameter, words.say(one.detail), None if one.allowed is None else words.say(one.allowed))
            for one in complaints
        ],
    )


def install(app: FastAPI) -> None:
    """Serve the pages of ``app``."""
    pages = Pages(app)
    app.state.problem_page = partial(_problem, pages)
    app.state.pages = pages
    tools.install(app)
    energy.install(app)
    alerts.install(app)
    wall.install(app)
    connections.install(app)
    notifications.install(app)
    reports.install(app)
    production.install(app)
    production_stops.install(app)
    for one in (cycles, one_cycle, studies, runoffs):
        app.include_router(one.router, include_in_schema=False)
    machine_pages.install(app)

    @app.get("/", include_in_schema=False)
    def plant_now(room: InRoom) -> Response:
        board: Board = app.state.boards[language()]
        board.refresh(SHOWN_US)
        look = board.look()
        names = [m.id for m in room.plant.machines]
        return pages.answer(
            "plant.html",
            groups=_by_cell(room),
            cells=look["cells"],
            alerts=look["alerts"],
            shift=shift_or_day(room, names, room.now_us()).name,
            notes=shift_notes(room),
            late=notifications.late_words(room),
        )

    @app.get("/machines", include_in_schema=False)
    def machines_page() -> Response:
        return RedirectResponse("/", 307)

    @app.get("/api", include_in_schema=False)
    def api_page(request: Request) -> Response:
        described = request.app.openapi()
        return pages.answer(
            "reference.html",
            paths=described["paths"],
            schemas=described["components"]["schemas"],
            about=described["info"]["description"],
        )

    @app.get("/api/openapi.json", include_in_schema=False)
    def openapi(request: Request) -> dict[str, Any]:
        described: dict[str, Any] = request.app.openapi()
        return described

    @app.get("/favicon.ico", include_in_schema=False)
    def favicon(request: Request) -> Response:
        return RedirectResponse(request.app.state.assets.url("mark.svg"), 307)
