"""Every error of the API as a problem document (RFC 9457), saying which parameter and what is allowed."""

from __future__ import annotations

import logging
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from http import HTTPStatus
from typing import Any, TypeAlias

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from pydantic import BaseModel, ConfigDict, Field
from starlette.exceptions import HTTPException
from starlette.responses import HTMLResponse, JSONResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from swarfline.sentence import N_, Sentence, Value

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


Said: TypeAlias = str | Sentence
"""What is wrong, in English: a text without places, or a sentence. Pages say it in the reader's language."""


def english(said: Said) -> str:
    """As the API and the command line say it."""
    return said if isinstance(said, str) else said.told()


@dataclass(frozen=True, slots=True)
class Complaint:
    """What is wrong with one parameter, or one field of a form, and what may stand there."""

    parameter: str
    detail: Said
    allowed: Said | None = None

    def told(self) -> WrongParameter:
        """As the API says it."""
        allowed = None if self.allowed is None else english(self.allowed)
        return WrongParameter(parameter=self.parameter, detail=english(self.detail), allowed=allowed)


class RefusedError(Exception):
    """Ends a request: for programs with a problem document, for people with a page in their language."""

    def __init__(self, status: int, said: Said, complaints: Sequence[Complaint] = ()) -> None:
        super().__init__(english(said))
        self.status = status
        self.said = said
        self.complaints = tuple(complaints)

    @property
    def detail(self) -> str:
        """As the API says it."""
        return english(self.said)

    @property
    def errors(self) -> tuple[WrongParameter, ...]:
        """As the API says them."""
        return tuple(one.told() for one in self.complaints)


def wrong(parameter: str, detail: Said, allowed: Said | None = None) -> RefusedError:
    """422 because of one parameter."""
    told: dict[str, Value] = {"parameter": repr(parameter), "detail": _sentence(detail)}
    said = Sentence(N_("Parameter {parameter}: {detail}"), told)
    return RefusedError(HTTPStatus.UNPROCESSABLE_ENTITY, said, [Complaint(parameter, detail, allowed)])


def unwritable(problem: Exception) -> RefusedError:
    """503 where the database cannot be written now."""
    said = Sentence(N_("Try again: {problem}."), {"problem": str(problem)})
    return RefusedError(HTTPStatus.SERVICE_UNAVAILABLE, said)


def missing(what: str, name: str, known: Sequence[str]) -> RefusedError:
    """404 for a thing that the plant does not have."""
    told: dict[str, Value] = {"what": _sentence(what), "name": repr(name)}
    complaint = Complaint(what, Sentence(N_("there is no {what} {name}"), told), ", ".join(known))
    return RefusedError(
        HTTPStatus.NOT_FOUND, Sentence(N_("There is no {what} {name} in this plant."), told), [complaint]
    )


def _sentence(said: Said) -> Sentence:
    if isinstance(said, Sentence):
        return said
    return Sentence(said.replace("{", "{{").replace("}", "}}"))


def document(status: int, detail: str, instance: str, errors: Sequence[WrongParameter] = ()) -> dict[str, Any]:
    """The members of a problem document; the title is the phrase of the status."""
    title = HTTPStatus(status).phrase if status in set(HTTPStatus) else "Error"
    found = ProblemDocument(title=title, status=status, detail=detail, instance=instance, errors=list(errors))
    return found.model_dump(exclude_none=True, exclude=None if errors else {"errors"})


def answer(
    request: Request,
    status: int,
    said: Said,
    complaints: Sequence[Complaint] = (),
    headers: Mapping[str, str] | None = None,
) -> Response:
    """The response that carries the problem: for people as a page, for programs as a problem document."""
    if is_for_people(request):
        page = request.app.state.problem_page(status, said, complaints)
        return HTMLResponse(page, status, headers=headers)
    body = document(status, english(said), request.url.path, [one.told() for one in complaints])
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
    return answer(request, error.status, error.said, error.complaints)


def _http(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    said: Said = error.detail
    if error.status_code == HTTPStatus.NOT_FOUND:
        text = N_("There is nothing at {path}; /api lists what there is.")
        said = Sentence(text, {"path": request.url.path})
    return answer(request, error.status_code, said, headers=error.headers)


def _invalid(request: Request, error: Exception) -> Response:
    assert isinstance(error, RequestValidationError)
    people = is_for_people(request)
    complaints = [
        Complaint(
            _name(e["loc"]),
            amiss(e) if people else e["msg"],
            None if people else (e.get("ctx") or {}).get("expected"),
        )
        for e in error.errors()
    ]
    names = ", ".join(repr(one.parameter) for one in complaints)
    said = Sentence(N_("Not usable: {names}."), {"names": names})
    return answer(request, HTTPStatus.UNPROCESSABLE_ENTITY, said, complaints)


_AMISS = {
    "missing": N_("is missing"),
    "string_too_short": N_("is missing"),
    "string_too_long": N_("is longer than {max_length} characters"),
    "string_pattern_mismatch": N_("holds characters that cannot be printed"),
    "greater_than_equal": N_("must be at least {ge:g}"),
    "greater_than": N_("must be above {gt:g}"),
    "less_than_equal": N_("must be at most {le:g}"),
    "less_than": N_("must be below {lt:g}"),
    "int_parsing": N_("is no whole number"),
    "int_from_float": N_("is no whole number"),
    "int_type": N_("is no whole number"),
    "float_parsing": N_("is no number"),
    "float_type": N_("is no number"),
    "finite_number": N_("is no number"),
    "literal_error": N_("must be one of {expected}"),
    "enum": N_("must be one of {expected}"),
}
"""By pydantic's type of error; its places are those of the error's context."""


def amiss(error: Mapping[str, Any]) -> Said:
    """What pydantic found, for people; as it says it where there are no words of ours for it."""
    text = _AMISS.get(error["type"])
    told = dict(error.get("ctx") or {})
    if text is None:
        return str(told.get("problem", error["msg"]))
    context: dict[str, Value] = {n: v for n, v in told.items() if isinstance(v, int | float | str)}
    if "expected" in context:
        context["expected"] = str(context["expected"]).replace(" or ", ", ")
    return Sentence(text, context)


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
            detail = N_("This answer could not be made; the service's log tells why.")
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
