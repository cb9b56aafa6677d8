"""The addresses of a machine's page and of its timeline alone, which a script asks for while somebody zooms."""

from __future__ import annotations

from fastapi import FastAPI, Request
from starlette.responses import Response

from swarfline.sentence import N_
from swarfline.serve.page import entering
from swarfline.serve.page.choosing import moment
from swarfline.serve.page.pages import pages_of
from swarfline.serve.page.timeline_view import timeline, window_of
from swarfline.serve.problems import wrong
from swarfline.serve.room import InRoom, OneMachine


def install(app: FastAPI) -> None:
    """Serve these pages of ``app``, and take their forms."""
    entering.install(app)

    @app.get("/machines/{machine_id}", include_in_schema=False)
    def machine_page(request: Request, machine: OneMachine) -> Response:
        return entering.show_page(app, request, machine)

    @app.get("/machines/{machine_id}/timeline", include_in_schema=False)
    def timeline_part(request: Request, machine: OneMachine, room: InRoom) -> Response:
        told = request.query_params
        for name in ("from", "to"):
            if not told.get(name):
                raise wrong(name, N_("is missing"), N_("an RFC 3339 time"))
        start_us, end_us = (moment(name, told[name], room) for name in ("from", "to"))
        window = window_of(start_us, end_us, room.now_us())
        answer = pages_of(app).answer("machine_timeline.html", timeline=timeline(room, machine, window), part=True)
        answer.headers["cache-control"] = "no-store"
        return answer
