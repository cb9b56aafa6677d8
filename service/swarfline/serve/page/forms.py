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

from swarfline.serve.problems import RefusedError, WrongParameter, wrong

MOST_FIELDS = 50

M = TypeVar("M", bound=BaseModel)


async def _fields(request: Request) -> dict[str, str]:
    """Field by name; of several of one name the last. Ends the request with 422 for what is no form."""
    body = await request.body()
    try:
        text = body.decode("ascii")
        return dict(parse_qsl(text, keep_blank_values=True, max_num_fields=MOST_FIELDS, errors="strict"))
    except ValueError:
        raise RefusedError(422, "This form cannot be read.") from None


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
        errors = [
            WrongParameter(parameter=str(e["loc"][0]) if e["loc"] else "", detail=e["msg"])
            for e in problem.errors()
        ]
        detail = "; ".join(f"{e.parameter}: {e.detail}" for e in errors)
        raise RefusedError(422, detail, errors) from None


def whole(fields: Mapping[str, str], name: str) -> int:
    """A field that holds a whole number; ends the request with 422 for anything else."""
    try:
        return int(fields.get(name, "").strip())
    except ValueError:
        raise wrong(name, "is no whole number", "digits") from None


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
