"""The works of the serve tests, made once: nothing in these tests writes to it."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from fastapi import FastAPI

from .client import Client
from .works import works


@pytest.fixture(scope="session")
def app(tmp_path_factory: pytest.TempPathFactory) -> Iterator[FastAPI]:
    made, store = works(tmp_path_factory.mktemp("works"))
    yield made
    store.close()


@pytest.fixture(scope="session")
def client(app: FastAPI) -> Client:
    return Client(app)


@pytest.fixture(scope="session")
def get(client: Client):
    """GET below /api/v1 that must succeed; its JSON."""

    def ask(path: str, **params: object):
        answer = client.get(f"/api/v1/{path}", params=params)
        assert answer.status_code == 200, answer.text
        return answer.json()

    return ask
