"""Writing to the works of the serve tests, as a program on the same computer does."""

from __future__ import annotations

import httpx

from .client import Client

HOST = "127.0.0.1:8750"


class Writer(Client):
    """A client with the headers that writing asks for."""

    def enter(self, path: str, **body: object) -> httpx.Response:
        """POST below /api/v1; ``who`` is Ana unless told."""
        told = {"who": "Ana", **{name.rstrip("_"): value for name, value in body.items()}}
        return self.post(f"/api/v1/{path}", json=told, headers={"host": HOST})

    def entered(self, path: str, **body: object) -> dict[str, object]:
        """The same, where it must succeed."""
        answer = self.enter(path, **body)
        assert answer.status_code == 201, answer.text
        return answer.json()

    def told(self, path: str, **params: object) -> dict[str, object]:
        """GET below /api/v1 that must succeed; its JSON."""
        answer = self.get(f"/api/v1/{path}", params=params)
        assert answer.status_code == 200, answer.text
        return answer.json()
