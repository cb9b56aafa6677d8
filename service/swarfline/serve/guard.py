"""Who may write: programs on this computer, and our own pages; never a page from elsewhere in somebody's browser.

A browser must not be made to write by whatever page it shows. Such a page's origin is another one; where it takes
our address for its own name (DNS rebinding), the name in Host is. Where users sign in that name does not matter: a
browser sends the cookie of a session only under the name that it was given under.
"""

from __future__ import annotations

from http import HTTPStatus
from urllib.parse import urlsplit

from starlette.datastructures import Headers
from starlette.requests import Request
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from swarfline.plant.checks import is_loopback
from swarfline.plant.model import Listen
from swarfline.sentence import N_, Sentence
from swarfline.serve.problems import RefusedError, answer

LARGEST = 32 * 1024
"""Bytes of the largest body that is read."""

_READING = ("GET", "HEAD", "OPTIONS")


class Guard:
    """ASGI layer: what may change something is refused unless it is ours, small, and JSON or a form."""

    def __init__(self, app: ASGIApp, listen: Listen) -> None:
        self._app = app
        self._listen = listen

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http" or scope["method"] in _READING:
            await self._app(scope, receive, send)
            return
        try:
            check(Headers(scope=scope), self._listen, scope["path"])
            body = await _small(receive)
        except RefusedError as refused:
            await answer(Request(scope), refused.status, refused.said)(scope, receive, send)
            return
        held: list[Message] = [{"type": "http.request", "body": body, "more_body": False}]

        async def again() -> Message:
            return held.pop() if held else await receive()

        await self._app(scope, again, send)


def check(headers: Headers, listen: Listen, path: str) -> None:
    """Raises RefusedError unless these are the headers of a request that may write to ``path``."""
    host = ",".join(headers.getlist("host")).lower()
    if not listen.users and not _ours(host, listen):
        raise RefusedError(
            HTTPStatus.FORBIDDEN,
            Sentence(
                N_(
                    "Writing is refused under the name {host}; it is allowed under the loopback's names, "
                    "the address listened on, and the plant file's [listen] origins."
                ),
                {"host": repr(host)},
            ),
        )
    origin = headers.get("origin")
    if origin is not None and origin not in (f"http://{host}", f"https://{host}", *listen.origins):
        raise RefusedError(
            HTTPStatus.FORBIDDEN,
            Sentence(N_("Writing is refused to pages of another origin ({origin})."), {"origin": repr(origin)}),
        )
    if headers.get("sec-fetch-site", "none") not in ("none", "same-origin"):
        raise RefusedError(HTTPStatus.FORBIDDEN, N_("Writing is refused to pages of another site."))
    _check_body(headers, path)


def _check_body(headers: Headers, path: str) -> None:
    """The API takes JSON only, which no page elsewhere can send unasked; pages take forms that name an origin."""
    kind = headers.get("content-type", "").partition(";")[0].strip().lower()
    if path.startswith("/api/"):
        if kind != "application/json":
            raise RefusedError(
                HTTPStatus.UNSUPPORTED_MEDIA_TYPE, "Send JSON, with Content-Type: application/json."
            )
        return
    if kind != "application/x-www-form-urlencoded":
        raise RefusedError(HTTPStatus.UNSUPPORTED_MEDIA_TYPE, N_("Pages take forms only."))
    if headers.get("origin") is None and headers.get("sec-fetch-site") != "same-origin":
        raise RefusedError(HTTPStatus.FORBIDDEN, N_("This form does not say which page it comes from."))


def _ours(host: str, listen: Listen) -> bool:
    try:
        name = urlsplit(f"//{host}").hostname
    except ValueError:
        return False
    shown = {urlsplit(origin).hostname for origin in listen.origins}
    return name is not None and (is_loopback(name) or name == listen.host.lower() or name in shown)


async def _small(receive: Receive) -> bytes:
    """The whole body; raises RefusedError for one that is too large."""
    body = bytearray()
    while True:
        message = await receive()
        if message["type"] == "http.disconnect":
            raise RefusedError(HTTPStatus.BAD_REQUEST, N_("The request broke off."))
        body += message.get("body", b"")
        if len(body) > LARGEST:
            raise RefusedError(
                HTTPStatus.REQUEST_ENTITY_TOO_LARGE,
                Sentence(N_("At most {largest} bytes are read."), {"largest": LARGEST}),
            )
        if not message.get("more_body", False):
            return bytes(body)
