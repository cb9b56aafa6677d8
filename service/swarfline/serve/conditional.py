"""Conditional requests (RFC 9110 section 13): ETag on JSON, CSV and pages, 304, HEAD for every GET; and gzip.

A plain ASGI layer: it holds back only bodies that it tags or compresses, never a stream.
"""

from __future__ import annotations

import hashlib
import re
from http import HTTPStatus

from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from swarfline.serve.coding import LEAST, gzipped_aside, takes_gzip

_HELD = ("application/json", "text/csv", "text/html")
_TAG = re.compile(r'(?:W/)?"[^"]*"')
_SAFE = ("GET", "HEAD")


def weak_match(left: str, right: str) -> bool:
    """Weak comparison of two entity tags (RFC 9110 section 8.8.3.2)."""
    return left.removeprefix("W/") == right.removeprefix("W/")


def strong_match(left: str, right: str) -> bool:
    """Strong comparison of two entity tags: neither may be weak."""
    return left == right and not left.startswith("W/")


def verdict(method: str, tag: str | None, if_match: str | None, if_none_match: str | None) -> int | None:
    """304 or 412 where a precondition is false, else None. ``tag`` None: there is nothing there now."""
    if if_match is not None and not _listed(if_match, tag, strong=True):
        return HTTPStatus.PRECONDITION_FAILED
    if if_none_match is not None and _listed(if_none_match, tag, strong=False):
        return HTTPStatus.NOT_MODIFIED if method in _SAFE else HTTPStatus.PRECONDITION_FAILED
    return None


def _listed(header: str, tag: str | None, strong: bool) -> bool:
    if tag is None:
        return False
    if header.strip() == "*":
        return True
    match = strong_match if strong else weak_match
    return any(match(listed, tag) for listed in _TAG.findall(header))


def tag_of(body: bytes, zipped: bool = False) -> str:
    """A strong entity tag: a digest of the bytes. Compressed ones are another representation (section 8.8.3.3)."""
    return f'"{hashlib.sha256(body).hexdigest()[:24]}{"-gzip" if zipped else ""}"'


class Conditional:
    """The layer around the whole application."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http" or scope["method"] not in _SAFE:
            await self._app(scope, receive, send)
            return
        answer = _Answer(scope, send)
        await self._app({**scope, "method": "GET"}, receive, answer.send)


class _Answer:
    def __init__(self, scope: Scope, send: Send) -> None:
        self._head = scope["method"] == "HEAD"
        self._asked = Headers(scope=scope)
        self._send = send
        self._held: Message | None = None
        self._body = bytearray()

    async def send(self, message: Message) -> None:
        if message["type"] == "http.response.start" and self._holds(message):
            self._held = message
        elif message["type"] == "http.response.body" and self._held is not None:
            self._body += message.get("body", b"")
            if not message.get("more_body", False):
                await self._finish(self._held)
        elif message["type"] == "http.response.body" and self._head:
            await self._send({**message, "body": b""})
        else:
            await self._send(message)

    def _holds(self, message: Message) -> bool:
        kind = Headers(raw=message["headers"]).get("content-type", "")
        return message["status"] == HTTPStatus.OK and kind.startswith(_HELD)

    async def _finish(self, start: Message) -> None:
        body = bytes(self._body)
        headers = MutableHeaders(raw=list(start["headers"]))
        headers.add_vary_header("Accept-Encoding")
        zips = len(body) >= LEAST and takes_gzip(self._asked.get("accept-encoding"))
        found = self._judge(headers, tag_of(body, zips))
        if found is not None:
            body = b""
            for name in ("content-length", "content-type"):
                del headers[name]
        elif zips:
            body = await gzipped_aside(body)
            headers["content-encoding"], headers["content-length"] = "gzip", str(len(body))
        if found == HTTPStatus.PRECONDITION_FAILED:
            headers["content-length"] = "0"
        await self._send({**start, "status": int(found or HTTPStatus.OK), "headers": headers.raw})
        await self._send({"type": "http.response.body", "body": b"" if self._head else body})

    def _judge(self, headers: MutableHeaders, tag: str) -> int | None:
        """Tag the answer, unless nobody may keep it; 304 or 412 where that is the answer."""
        if "no-store" in headers.get("cache-control", ""):
            return None
        headers["etag"] = tag
        headers.setdefault("cache-control", "no-cache")
        return verdict("GET", tag, self._asked.get("if-match"), self._asked.get("if-none-match"))
