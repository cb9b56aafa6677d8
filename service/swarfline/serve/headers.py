"""Headers that every answer carries: nothing is loaded from elsewhere, nothing inline runs, nobody frames us."""

from __future__ import annotations

from starlette.datastructures import MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

CHART_STYLE = "'sha256-ji27qzEtxXZW+7dun6UwjHXJ18e6WAin1VvNtkzIE/o='"
"""The one style rule that the chart library (plotly.js 4.1) still puts inline; it is not used here."""

POLICY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        f"style-src 'self' {CHART_STYLE}",
        "img-src 'self' data:",
        "font-src 'self'",
        "connect-src 'self'",
        "form-action 'self'",
        "base-uri 'none'",
        "frame-ancestors 'none'",
    )
)

FIXED = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    # not no-referrer: with that, browsers send forms of our own pages with the origin "null" (Fetch standard)
    "referrer-policy": "same-origin",
}


class SafeHeaders:
    """The outermost layer."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        async def sealed(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in FIXED.items():
                    headers[name] = value
                headers.setdefault("cache-control", "no-store")
            await send(message)

        await self._app(scope, receive, sealed if scope["type"] == "http" else send)
