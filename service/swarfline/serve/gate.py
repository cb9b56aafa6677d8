"""Who may ask what: finds out who is signed in, and lets through what their role may do.

Where the plant file has no users, everything passes. A session comes in a cookie, a token in ``Authorization:
Bearer`` (RFC 6750). People who are not signed in are led to the page for it, programs are told 401.
"""

from __future__ import annotations

import logging
from http import HTTPStatus
from http.cookies import CookieError, SimpleCookie
from urllib.parse import urlencode

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.types import ASGIApp, Receive, Scope, Send

from swarfline.plant.checks import is_loopback
from swarfline.plant.model import Listen
from swarfline.sentence import N_, Sentence
from swarfline.serve.problems import answer, is_for_people
from swarfline.serve.roles import PROBES, needs
from swarfline.serve.signing import Signed, Signing, acting
from swarfline.users import Role, SignIn, allows

CHALLENGE = {"www-authenticate": 'Bearer realm="swarfline"'}
_SCHEME = "bearer "

_log = logging.getLogger(__name__)


def cookie_name(scheme: str) -> str:
    """The cookie of the session. Over TLS its name makes browsers keep it to this host (RFC 6265bis, __Host-)."""
    return "__Host-swarfline" if scheme == "https" else "swarfline"


def address_of(request: Request) -> str:
    """Where a request comes from; behind a stated proxy as the proxy tells."""
    return request.client.host[:60] if request.client is not None else ""


class Gate:
    """ASGI layer."""

    def __init__(self, app: ASGIApp, listen: Listen, signing: Signing) -> None:
        self._app = app
        self._listen = listen
        self._signing = signing

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http" or not self._signing.needed:
            await self._app(scope, receive, send)
            return
        request = Request(scope)
        try:
            found = await self._found(request)
        except Exception:
            _log.exception("whether somebody is signed in cannot be told")
            detail = N_("The database does not answer; try again.")
            await answer(request, HTTPStatus.SERVICE_UNAVAILABLE, detail)(scope, receive, send)
            return
        signed = None if found is None else Signed(found.user, found.role, found.digest, found.kind)
        with acting(signed):
            refusal = self._refusal(request, signed)
            await (refusal or self._app)(scope, receive, send)

    async def _found(self, request: Request) -> SignIn | None:
        if request.scope["path"].startswith("/assets/"):
            return None
        told = request.headers.get("authorization", "")
        cookie = cookie_of(request.headers, cookie_name(request.url.scheme))
        if told[: len(_SCHEME)].lower() == _SCHEME:
            found = await run_in_threadpool(self._signing.by_token, told[len(_SCHEME) :].strip())
        elif cookie is not None:
            found = await run_in_threadpool(self._signing.by_cookie, cookie)
        else:
            return None
        if found is not None:
            self._signing.used(found)
        return found

    def _refusal(self, request: Request, signed: Signed | None) -> Response | None:
        needed = self._needed(request)
        if needed is None or (signed is not None and allows(signed.role, needed)):
            return None
        if signed is None:
            return _sign_in_first(request)
        text = N_("This needs the role {needed}; {name} is signed in as {role}.")
        told = {"needed": repr(needed), "name": repr(signed.name), "role": repr(signed.role)}
        return answer(request, HTTPStatus.FORBIDDEN, Sentence(text, told))

    def _needed(self, request: Request) -> Role | None:
        # as the application is going to read it; in an address an encoded ? would end the path
        path: str = request.scope["path"]
        if self._listen.probes_open and path in PROBES and is_loopback(address_of(request)):
            return None
        return needs(request.method, path)


def cookie_of(headers: Headers, name: str) -> str | None:
    """The value of a cookie; None where it is not sent, or none can be read."""
    try:
        found = SimpleCookie(headers.get("cookie", "")).get(name)
    except CookieError:
        return None
    return None if found is None else found.value


def _sign_in_first(request: Request) -> Response:
    if request.method == "GET" and is_for_people(request):
        asked = request.url.path + (f"?{request.url.query}" if request.url.query else "")
        return RedirectResponse(f"/sign-in?{urlencode({'to': asked})}", HTTPStatus.SEE_OTHER)
    detail = N_("Sign in first: by a session at /sign-in, or by a token in the header Authorization: Bearer.")
    return answer(request, HTTPStatus.UNAUTHORIZED, detail, headers=CHALLENGE)
