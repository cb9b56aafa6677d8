"""Fixtures of the system tests."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from .undisturbed import Run, run_undisturbed
from .works import Works


@pytest.fixture
def works(tmp_path: Path) -> Iterator[Works]:
    """A brisk works with nothing running yet; what a test starts there is ended with it."""
    made = Works(tmp_path)
    yield made
    made.clear_away()


@pytest.fixture
def pause() -> Callable[[float], None]:
    """Lets a time pass that means nothing: so that what follows comes at any moment."""
    return time.sleep


@pytest.fixture(scope="session")
def run(tmp_path_factory: pytest.TempPathFactory) -> Run:
    """The undisturbed run, which several files look at."""
    return run_undisturbed(tmp_path_factory.mktemp("undisturbed"))
