"""/sign-in and /sign-out: plain forms, which work without scripts."""

from __future__ import annotations

import logging
import re
from http import HTTPStatus

from fastapi import FastAPI, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import Response

from swarfline.plant.checks import is_loopback
from swarfline.serve.gate import address_of, cookie_name
from swarfline.serve.page.forms import Fields, local, see_other
from swarfline.serve.page.pages import pages_of
from swarfline.serve.problems import RefusedError, unwritable
from swarfline.serve.signing import Signing, printable, signed_in, signing_of
from swarfline.serve.tongue import gettext as _
from swarfline.serve.verifying import Denied, Verifier
from swarfline.store import StoreError
from swarfline.users import SESSION, VIEWER, Role

_log = logging.getLogger(__name__)
_COMMENT = re.compile(r"\(([^()]*)\)")


def users_only(request: Request) -> Signing:
    """The sessions; ends the request with 404 where nobody signs in."""
    signing = signing_of(request)
    if not signing.needed:
        raise RefusedError(HTTPStatus.NOT_FOUND, _("Nobody signs in here: the plant file has no users."))
    return signing


def about(request: Request) -> str:
    """By what somebody signs in: address, and the device as the browser tells it (RFC 9110, 10.1.5: a comment)."""
    agent = request.headers.get("user-agent", "")[:500]
    device = _COMMENT.search(agent)
    return f"{address_of(request)}, {printable(device[1] if device else agent, 60)}".rstrip(", ")


async def remember(request: Request, answer: Response, name: str, role: Role) -> Response:
    """Begin a session, and have the browser send it; ends the request with 503 where it cannot be kept."""
    signing = signing_of(request)
    try:
        secret = await run_in_threadpool(signing.begin, name, role, about(request))
    except StoreError as problem:
        raise unwritable(problem) from None
    _set_cookie(request, answer, secret, signing.longest_s)
    return answer


def _set_cookie(request: Request, answer: Response, secret: str, lasts_s: int) -> None:
    scheme = request.url.scheme
    answer.set_cookie(
        cookie_name(scheme), secret, lasts_s, secure=scheme == "https", httponly=True, samesite="lax"
    )


def forget(request: Request, answer: Response) -> Response:
    """Have the browser forget its session."""
    _set_cookie(request, answer, "", 0)
    return answer


async def end_session(request: Request) -> None:
    """End the session that this request comes with; a token stays, it may be used elsewhere."""
    signed = signed_in()
    if signed is not None and signed.kind == SESSION:
        await run_in_threadpool(signing_of(request).users.end, signed.digest)


def refuse_in_clear(request: Request) -> None:
    """Ends the request with 403 where a password or token would go over a network for all to read."""
    if request.url.scheme != "https" and not is_loopback(address_of(request)):
        detail = _("Signing in is refused without encryption: use https, or have the proxy tell it.")
        raise RefusedError(HTTPStatus.FORBIDDEN, detail)


def failure(denied: Denied) -> str:
    """What is said to somebody whose attempt failed; not whether the name is known."""
    if denied.status == HTTPStatus.FORBIDDEN:
        return _("Name and password do not go together.")
    return _("Too many attempts; try again in %(seconds)s s.") % {"seconds": denied.wait_s}


def install(app: FastAPI) -> None:
    """Serve the pages of ``app``."""
    pages = pages_of(app)
    app.state.verifier = Verifier(app.state.signing)

    def form(to: str, name: str = "", error: str = "", status: int = HTTPStatus.OK) -> Response:
        answer = pages.answer("sign_in.html", status, to=to, name=name, error=error)
        answer.headers["cache-control"] = "no-store"
        return answer

    @app.get("/sign-in", include_in_schema=False)
    def sign_in_page(request: Request, to: str = "/") -> Response:
        users_only(request)
        to = local(to, "/")
        return see_other(to) if signed_in() is not None else form(to)

    @app.post("/sign-in", include_in_schema=False)
    async def sign_in(request: Request, fields: Fields) -> Response:
        users_only(request)
        refuse_in_clear(request)
        to = local(fields.get("to", ""), "/")
        if fields.get("token"):
            return await _by_token(request, fields["token"].strip(), to) or form(
                to,
                error=_("This token is not known, has ended, or may do more than look."),
                status=HTTPStatus.FORBIDDEN,
            )
        name = fields.get("name", "")
        try:
            user = await app.state.verifier.check(name, fields.get("password", ""), address_of(request))
        except Denied as denied:
            answer = form(to, printable(name, 40), failure(denied), denied.status)
            if denied.wait_s:
                answer.headers["retry-after"] = str(denied.wait_s)
            return answer
        await end_session(request)
        _log.info("signed in: %s from %s", user.name, address_of(request))
        return await remember(request, see_other(to), user.name, user.role)

    @app.post("/sign-out", include_in_schema=False)
    async def sign_out(request: Request) -> Response:
        users_only(request)
        await end_session(request)
        return forget(request, see_other("/sign-in"))


async def _by_token(request: Request, token: str, to: str) -> Response | None:
    """Have the browser of a screen send its token from now on; None for a token that may not be used so."""
    signing = signing_of(request)
    found = await run_in_threadpool(signing.by_token, token)
    if found is None or found.role != VIEWER:
        return None
    answer = see_other(to)
    _set_cookie(request, answer, token, (found.ends_us - signing.now_us()) // 1_000_000)
    return answer
