"""How a list is sent: as JSON with its envelope, or as CSV; both with the link to the next page."""

from __future__ import annotations

import re
from collections.abc import Sequence
from fractions import Fraction
from functools import cache
from typing import Annotated, Any

from fastapi import Depends, FastAPI, Request, Response

from swarfline.serve.paging import Window, link
from swarfline.serve.problems import Complaint, RefusedError
from swarfline.serve.room import Room
from swarfline.serve.shapes import Shape, percent, span_fields
from swarfline.serve.spans import Asked
from swarfline.serve.table import CSV_ASKED, MEDIA_TYPE, WantsCsv, csv_answer


class Reply:
    """The answer to one request. What the methods return goes out as it is or through the response model."""

    def __init__(self, response: Response, csv: WantsCsv) -> None:
        self._response = response
        self._csv = csv

    def facts(
        self,
        room: Room,
        asked: Asked,
        window: Window,
        shape: type[Shape],
        rows: Sequence[Shape],
        last_us: int | None,
    ) -> Any:
        """A page of facts; ``last_us`` as told by ``Window.take``."""
        url = window.next_url(room, asked, last_us)
        if self._csv:
            return csv_answer(shape, rows, link(url))
        self._response.headers.update(link(url))
        return {**span_fields(room, asked), "items": rows, "next": url}

    def figures(
        self, room: Room, asked: Asked, coverage: Fraction | None, shape: type[Shape], rows: Sequence[Shape]
    ) -> Any:
        """Figures of a span."""
        if self._csv:
            return csv_answer(shape, rows, {})
        return {**span_fields(room, asked), "coverage_pct": percent(coverage), "items": rows}

    def listing(self, shape: type[Shape], rows: Sequence[Shape], **more: object) -> Any:
        """A plain list, with other members beside it."""
        if self._csv:
            return csv_answer(shape, rows, {})
        return {**more, "items": rows}


Replying = Annotated[Reply, Depends()]


def known_parameters(request: Request) -> None:
    """Dependency of every API route: a query parameter, or a table, that the route does not have is an error."""
    known, is_table = _known(request)
    if request.scope.get(CSV_ASKED) and not is_table:
        raise RefusedError(404, "This address has no CSV; ask for it without '.csv', or for a list.")
    unknown = [name for name in request.query_params if name not in known]
    if unknown:
        allowed = ", ".join(known) or "no parameters"
        complaints = [Complaint(n, "is not known here", allowed) for n in unknown]
        raise RefusedError(422, f"Unknown: {', '.join(map(repr, unknown))}; known here: {allowed}.", complaints)


def _known(request: Request) -> tuple[Sequence[str], bool]:
    path = request.scope["path"]
    found = ((names, table) for pattern, names, table in _patterns(request.app) if pattern.fullmatch(path))
    return next(found, ((), False))


@cache
def _patterns(app: FastAPI) -> list[tuple[re.Pattern[str], tuple[str, ...], bool]]:
    """Pattern of an address, its query parameters, and whether it has a table, for every path described."""
    described = app.openapi()["paths"]
    return [
        (re.compile(re.sub(r"{\w+}", "[^/]+", p)), _query_names(found), _is_table(found))
        for p, found in described.items()
    ]


def _is_table(path: dict[str, Any]) -> bool:
    return MEDIA_TYPE in path.get("get", {}).get("responses", {}).get("200", {}).get("content", {})


def _query_names(path: dict[str, Any]) -> tuple[str, ...]:
    parameters = path.get("get", {}).get("parameters", ())
    return tuple(p["name"] for p in parameters if p["in"] == "query")
