"""Every error of the API as a problem document (RFC 9457), saying which parameter and what is allowed."""

from __future__ import annotations

import logging
from collections.abc import Mapping, Sequence
from http import HTTPStatus
from typing import Any

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from pydantic import BaseModel, ConfigDict, Field
from starlette.exceptions import HTTPException
from starlette.responses import HTMLResponse, JSONResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

MEDIA_TYPE = "application/problem+json"

_log = logging.getLogger(__name__)


class WrongParameter(BaseModel):
    """What is wrong with one parameter."""

    model_config = ConfigDict(extra="forbid")
    parameter: str = Field(description="name of the parameter, or of the member of the body")
    detail: str
    allowed: str | None = Field(default=None, description="what may stand there")


class ProblemDocument(BaseModel):
    """A problem document of RFC 9457, with one extension member: errors."""

    model_config = ConfigDict(extra="forbid")
    type: str = "about:blank"
    title: str
    status: int
    detail: str
    instance: str
    errors: list[WrongParameter] = Field(default_factory=list)


class RefusedError(Exception):
    """Ends a request with a problem document."""

    def __init__(self, status: int, detail: str, errors: Sequence[WrongParameter] = ()) -> None:
        super().__init__(detail)
        self.status = status
        self.detail = detail
        self.errors = tuple(errors)


def wrong(parameter: str, detail: str, allowed: str | None = None) -> RefusedError:
    """422 because of one parameter."""
    error = WrongParameter(parameter=parameter, detail=detail, allowed=allowed)
    return RefusedError(HTTPStatus.UNPROCESSABLE_ENTITY, f"Parameter {parameter!r}: {detail}", [error])


def missing(what: str, name: str, known: Sequence[str]) -> RefusedError:
    """404 for a thing that the plant does not have."""
    error = WrongParameter(parameter=what, detail=f"there is no {what} {name!r}", allowed=", ".join(known))
    return RefusedError(HTTPStatus.NOT_FOUND, f"There is no {what} {name!r} in this plant.", [error])


def document(status: int, detail: str, instance: str, errors: Sequence[WrongParameter] = ()) -> dict[str, Any]:
    """The members of a problem document; the title is the phrase of the status."""
    title = HTTPStatus(status).phrase if status in set(HTTPStatus) else "Error"
    found = ProblemDocument(title=title, status=status, detail=detail, instance=instance, errors=list(errors))
    return found.model_dump(exclude_none=True, exclude=None if errors else {"errors"})


def answer(
    request: Request,
    status: int,
    detail: str,
    errors: Sequence[WrongParameter] = (),
    headers: Mapping[str, str] | None = None,
) -> Response:
    """The response that carries the problem: for people as a page, for programs as a problem document."""
    body = document(status, detail, request.url.path, errors)
    if is_for_people(request):
        return HTMLResponse(request.app.state.problem_page(body), status, headers=headers)
    return JSONResponse(body, status, headers=headers, media_type=MEDIA_TYPE)


def is_for_people(request: Request) -> bool:
    """Whether a browser shows the answer to somebody, rather than a program reading it."""
    programs = request.url.path.startswith(("/api/", "/health/", "/assets/", "/metrics"))
    accept = request.headers.get("accept", "")
    return not programs and ("text/html" in accept or "json" not in accept)


def install(app: FastAPI) -> None:
    """Answer every error of ``app`` this way."""
    app.add_exception_handler(RefusedError, _problem)
    app.add_exception_handler(HTTPException, _http)
    app.add_exception_handler(RequestValidationError, _invalid)


def _problem(request: Request, error: Exception) -> Response:
    assert isinstance(error, RefusedError)
    return answer(request, error.status, error.detail, error.errors)


def _http(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    detail = error.detail
    if error.status_code == HTTPStatus.NOT_FOUND:
        detail = f"There is nothing at {request.url.path}; /api lists what there is."
    return answer(request, error.status_code, detail, headers=error.headers)


def _invalid(request: Request, error: Exception) -> Response:
    assert isinstance(error, RequestValidationError)
    errors = [
        WrongParameter(parameter=_name(e["loc"]), detail=e["msg"], allowed=(e.get("ctx") or {}).get("expected"))
        for e in error.errors()
    ]
    names = ", ".join(repr(e.parameter) for e in errors)
    return answer(request, HTTPStatus.UNPROCESSABLE_ENTITY, f"Not usable: {names}.", errors)


def _name(location: Sequence[str | int]) -> str:
    """The parameter or member; where JSON cannot be read, its place in the text."""
    last = location[-1]
    return last if isinstance(last, str) else f"{location[0]}, character {last}"


class CatchAll:
    """ASGI layer: what nobody foresaw becomes a 500, told in the log and nowhere else."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        started = False

        async def watched(message: Message) -> None:
            nonlocal started
            started = started or message["type"] == "http.response.start"
            await send(message)

        try:
            await self._app(scope, receive, watched)
        except Exception:
            _log.exception("no answer to %s", scope.get("path"))
            if started or scope["type"] != "http":
                raise
            detail = "This answer could not be made; the service's log tells why."
            request = Request(scope, receive)
            await answer(request, HTTPStatus.INTERNAL_SERVER_ERROR, detail)(scope, receive, send)


_SCHEMA = {"schema": {"$ref": "#/components/schemas/ProblemDocument"}}


def _described(description: str) -> dict[str, Any]:
    return {"description": description, "content": {MEDIA_TYPE: _SCHEMA}}


RESPONSES: dict[int | str, dict[str, Any]] = {
    401: _described("Nobody is signed in, where the plant has users"),
    403: _described("The role does not allow it"),
    404: _described("No such thing in this plant"),
    422: _described("A parameter is unknown or not usable"),
}
"""For the OpenAPI description of every route."""

WRITING: dict[int | str, dict[str, Any]] = {
    403: _described("Not allowed to write: another origin or host, or the role does not allow it"),
    409: _described("An earlier entry does not allow it"),
    413: _described("The body is too large"),
    415: _described("The body is no JSON"),
    503: _described("The database cannot be written now; nothing was entered"),
}
"""For the OpenAPI description of routes that write."""
