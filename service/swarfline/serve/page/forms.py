"""Forms of the pages: plain HTML, without scripts; what they say is checked by the shapes of the API's bodies.

A form that was taken answers 303 See Other, so that loading the page anew enters nothing twice. The guard has let
only small bodies of our own pages through.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any, TypeVar
from urllib.parse import parse_qsl, urlsplit

from fastapi import Depends, Request
from pydantic import BaseModel, ValidationError
from starlette.responses import RedirectResponse, Response

from swarfline.sentence import N_
from swarfline.serve.page import words
from swarfline.serve.problems import Complaint, RefusedError, amiss, wrong
from swarfline.serve.tongue import gettext as _

MOST_FIELDS = 50

M = TypeVar("M", bound=BaseModel)


async def _fields(request: Request) -> dict[str, str]:
    """Field by name; of several of one name the last. Ends the request with 422 for what is no form."""
    body = await request.body()
    try:
        text = body.decode("ascii")
        return dict(parse_qsl(text, keep_blank_values=True, max_num_fields=MOST_FIELDS, errors="strict"))
    except ValueError:
        raise RefusedError(422, N_("This form cannot be read.")) from None


Fields = Annotated[dict[str, str], Depends(_fields)]


def said(shape: type[M], fields: Mapping[str, str], **converted: Any) -> M:
    """The fields as a body of the API: fields left empty are not told, ``converted`` go before them.

    Fields that the shape does not know (buttons, the page to go back to) are passed over. Ends the request with
    422 that names each wrong field.
    """
    known = {name for field, info in shape.model_fields.items() for name in (field, info.alias) if name}
    told: dict[str, Any] = {k: v for k, v in fields.items() if k in known and v.strip()}
    try:
        return shape.model_validate({**told, **converted})
    except ValidationError as problem:
        found = [Complaint(str(e["loc"][0]) if e["loc"] else "", amiss(dict(e))) for e in problem.errors()]
        raise RefusedError(422, N_("Not all of this form can be used."), found) from None


def field(name: str) -> str:
    """A field of a form, as its label names it."""
    told = {
        "who": _("Your name"),
        "quantity": _("Quantity"),
        "part": _("Part"),
        "kind": _("The parts are"),
        "reason": _("Reason"),
        "stop": _("Stop"),
        "text": _("What is to be known"),
        "note": _("Note"),
        "time": _("Time"),
        "from": _("From"),
        "to": _("To"),
        "span": _("Span"),
        "minutes": _("for how long"),
        "end": _("for how long"),
        "until": _("for how long"),
    }
    return told.get(name, name)


def why(problem: RefusedError) -> str:
    """Why a form was not taken, field by field, in the reader's language."""
    if not problem.complaints:
        return words.say(problem.said)
    return "; ".join(f"{field(one.parameter)}: {words.say(one.detail)}" for one in problem.complaints)


def whole(fields: Mapping[str, str], name: str) -> int:
    """A field that holds a whole number; ends the request with 422 for anything else."""
    try:
        return int(fields.get(name, "").strip())
    except ValueError:
        raise wrong(name, N_("is no whole number"), N_("digits")) from None


def local(address: str, otherwise: str) -> str:
    """An address of this service to go to, path and query only; ``otherwise`` for any that might lead away."""
    try:
        parts = urlsplit(address)
    except ValueError:
        return otherwise
    safe = not parts.scheme and not parts.netloc and address.startswith("/") and not address.startswith("//")
    return address if safe and "\\" not in address and address.isprintable() else otherwise


def see_other(address: str) -> Response:
    """Go on to a page of ours."""
    return RedirectResponse(address, 303)
