"""Pages of tools: what is due, as a list to carry, and the tools of one machine."""

from __future__ import annotations

from fractions import Fraction
from typing import Annotated

from fastapi import FastAPI, Query, Request
from starlette.responses import Response

from swarfline.serve.page.choosing import choose
from swarfline.serve.page.pages import pages_of
from swarfline.serve.page.tool_lives import life_line, tools_of
from swarfline.serve.page.tools_due import due_list
from swarfline.serve.room import InRoom, OneMachine
from swarfline.serve.spans import MONTH
from swarfline.serve.tool_plan import MostGivenUp


def install(app: FastAPI) -> None:
    """Serve these pages of ``app``."""

    @app.get("/tools", include_in_schema=False)
    def tools_page(
        request: Request,
        room: InRoom,
        most_given_up_pct: MostGivenUp = 20.0,
        cautious: Annotated[bool, Query()] = False,
    ) -> Response:
        chosen = choose(request, room)
        found = due_list(room, chosen.machines, Fraction(most_given_up_pct) / 100, cautious)
        now_us = room.now_us()
        lines = [(m, [life_line(room, tool, now_us) for tool in tools]) for m, tools in found.forecasts]
        return pages_of(app).answer(
            "tools.html", due=found, chosen=chosen, lines=lines, most=most_given_up_pct, cautious=cautious
        )

    @app.get("/machines/{machine_id}/tools", include_in_schema=False)
    def machine_tools(request: Request, machine: OneMachine, room: InRoom) -> Response:
        chosen = choose(request, room, MONTH, machine=machine.id)
        return pages_of(app).answer("machine_tools.html", view=tools_of(chosen), chosen=chosen)
