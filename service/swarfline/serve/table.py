"""Every list as a table: CSV by ``Accept: text/csv`` or a ``.csv`` suffix, with the columns of its row shape."""

from __future__ import annotations

import csv
import io
import json
import types
from collections.abc import Iterator, Mapping, Sequence
from typing import Annotated, Any, Union, get_args, get_origin

from fastapi import Depends, Request
from pydantic import BaseModel
from starlette.responses import Response
from starlette.types import ASGIApp, Receive, Scope, Send

MEDIA_TYPE = "text/csv"
_SUFFIX = ".csv"
CSV_ASKED = "swarfline.csv"
"""Key of the ASGI scope, true where the address ended in .csv."""

Path = tuple[str, ...]


def columns(shape: type[BaseModel]) -> list[Path]:
    """The leaf fields of a row shape as paths of names; shapes inside shapes are laid out flat."""
    return list(_leaves(shape, ()))


def _leaves(shape: type[BaseModel], above: Path) -> Iterator[Path]:
    for name, field in shape.model_fields.items():
        path = (*above, field.alias or name)
        inner = _shape_in(field.annotation)
        if inner is None:
            yield path
        else:
            yield from _leaves(inner, path)


def _shape_in(annotation: Any) -> type[BaseModel] | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    if get_origin(annotation) in (Union, types.UnionType):
        return next((found for a in get_args(annotation) if (found := _shape_in(a))), None)
    return None


def write(shape: type[BaseModel], rows: Sequence[BaseModel]) -> str:
    """CSV (RFC 4180) with a header line; unknown values are empty, lists are JSON."""
    out = io.StringIO()
    writer = csv.writer(out)
    paths = columns(shape)
    writer.writerow("_".join(path) for path in paths)
    for row in rows:
        plain = row.model_dump(mode="json", by_alias=True)
        writer.writerow(safe(_at(plain, path)) for path in paths)
    return out.getvalue()


def _at(row: Mapping[str, Any], path: Path) -> Any:
    value: Any = row
    for name in path:
        value = value[name] if isinstance(value, Mapping) else None
    return value


def safe(value: Any) -> Any:
    """A value as a table holds it: nothing that a spreadsheet would run."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, list | dict):
        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, str) and value[:1] in ("=", "+", "-", "@", "\t", "\r"):
        return "'" + value  # machines name their programs; a spreadsheet must not run what they send
    return value


def wants_csv(request: Request) -> bool:
    """Whether the client prefers CSV to JSON."""
    if request.scope.get(CSV_ASKED):
        return True
    accept = request.headers.get("accept", "")
    return _weight(accept, MEDIA_TYPE) > _weight(accept, "application/json")


WantsCsv = Annotated[bool, Depends(wants_csv)]


def _weight(accept: str, kind: str) -> float:
    weights = {}
    for entry in accept.split(","):
        name, *parameters = (p.strip() for p in entry.split(";"))
        weight = next((p[2:] for p in parameters if p.lower().startswith("q=")), "1")
        weights[name.lower()] = float(weight) if weight.replace(".", "", 1).isdigit() else 0.0
    wide = weights.get("*/*", 0.0)
    return weights.get(kind, weights.get(kind.split("/")[0] + "/*", wide))


def csv_answer(shape: type[BaseModel], rows: Sequence[BaseModel], headers: Mapping[str, str]) -> Response:
    """The table as a response."""
    return Response(write(shape, rows), headers=dict(headers), media_type=f"{MEDIA_TYPE}; charset=utf-8")


class CsvSuffix:
    """ASGI layer: ``/api/….csv`` is ``/api/…`` with the wish for CSV."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        path = scope.get("path", "")
        if scope["type"] == "http" and path.startswith("/api/") and path.endswith(_SUFFIX):
            scope = {**scope, "path": path.removesuffix(_SUFFIX), CSV_ASKED: True}
        await self._app(scope, receive, send)


OPENAPI: dict[int | str, dict[str, Any]] = {
    200: {"content": {MEDIA_TYPE: {"schema": {"type": "string"}}}, "description": "The list, as JSON or as CSV"}
}
"""For the OpenAPI description of every route that answers with a table."""
