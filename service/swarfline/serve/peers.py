"""Whom a connection comes from: stated proxies are believed, and nobody else may pass unencrypted from outside."""

from __future__ import annotations

from http import HTTPStatus

from starlette.responses import JSONResponse
from starlette.types import ASGIApp, Receive, Scope, Send
from uvicorn.middleware.proxy_headers import ProxyHeadersMiddleware

from swarfline.plant.checks import is_loopback
from swarfline.plant.model import Listen
from swarfline.serve.problems import MEDIA_TYPE, document

_MAPPED = "::ffff:"


class Peers:
    """The outermost ASGI layer, in front of the application.

    X-Forwarded-For and X-Forwarded-Proto count where the plant file's [listen] ``proxy`` names the sender; of a
    list the last address that is no stated proxy.
    """

    def __init__(self, app: ASGIApp, listen: Listen) -> None:
        proxies = ProxyHeadersMiddleware(app, list(listen.proxy))  # type: ignore[arg-type]
        self._app: ASGIApp = proxies if listen.proxy else app  # type: ignore[assignment]
        self._trusted = proxies.trusted_hosts
        self._encrypted = listen.certificate is not None

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http" or not scope.get("client"):
            await self._app(scope, receive, send)
            return
        host, port = scope["client"]
        # a socket of IPv6 that also takes IPv4 tells its addresses in the longer form (RFC 4291, 2.5.5.2)
        host = host.removeprefix(_MAPPED) if "." in host else host
        if self._encrypted or is_loopback(host) or host in self._trusted:
            await self._app({**scope, "client": (host, port)}, receive, send)
            return
        detail = "Come by the proxy that encrypts; it is not asked here directly."
        body = document(HTTPStatus.FORBIDDEN, detail, scope["path"])
        await JSONResponse(body, HTTPStatus.FORBIDDEN, media_type=MEDIA_TYPE)(scope, receive, send)
