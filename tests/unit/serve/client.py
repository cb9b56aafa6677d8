"""A plain client that asks the application without a network."""

from __future__ import annotations

import asyncio
from typing import Any

import httpx
from fastapi import FastAPI


class Client:
    """Blocking requests; every one in an event loop of its own."""

    def __init__(self, app: FastAPI) -> None:
        self._app = app

    def get(self, path: str, **more: Any) -> httpx.Response:
        return self.request("GET", path, **more)

    def head(self, path: str, **more: Any) -> httpx.Response:
        return self.request("HEAD", path, **more)

    def post(self, path: str, **more: Any) -> httpx.Response:
        return self.request("POST", path, **more)

    def request(self, method: str, path: str, **more: Any) -> httpx.Response:
        return asyncio.run(self._request(method, path, **more))

    async def _request(self, method: str, path: str, **more: Any) -> httpx.Response:
        transport = httpx.ASGITransport(self._app)
        async with httpx.AsyncClient(transport=transport, base_url="http://plant") as http:
            return await http.request(method, path, **more)
