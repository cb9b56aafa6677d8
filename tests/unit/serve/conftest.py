"""The works of the serve tests, made once: nothing in these tests writes to it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi import FastAPI

from .client import Client
from .entering import Writer
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


@pytest.fixture(scope="session")
def refusing(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Writer]:
    """A client of works in which nothing is ever entered: all that is sent to it is refused."""
    made, store = works(tmp_path_factory.mktemp("refusing"))
    yield Writer(made)
    store.close()


@pytest.fixture
def writing(tmp_path: Path) -> Iterator[Writer]:
    """A client of works of its own, in which it may write."""
    made, store = works(tmp_path)
    yield Writer(made)
    store.close()
