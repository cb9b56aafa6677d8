"""A real service on a free port, and Chromium. Skips only where there is no Chromium."""

from __future__ import annotations

import asyncio
import os
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from chromium import chromium
from fastapi import FastAPI
from playwright.sync_api import Browser, Page, expect, sync_playwright

from swarfline.serve.server import Server, make_server
from swarfline.store import Store

sys.path.append(str(Path(__file__).parents[1] / "unit"))
sys.path.append(str(Path(__file__).parents[1]))

from serve.works import works

from peers.node import HERE

AXE = HERE / "node_modules" / "axe-core" / "axe.min.js"
PATIENCE_S = 60.0
"""Ends a test that would hang; judges no speed."""
expect.set_options(timeout=PATIENCE_S * 1000)
FINDINGS = """async () => (await axe.run()).violations.map(
    found => `${found.impact} ${found.id}: ${found.nodes.map(node => node.target.join(" ")).join(", ")}`)"""


@dataclass
class Service:
    """A service that runs."""

    url: str
    app: FastAPI
    store: Store
    server: Server
    loop: asyncio.AbstractEventLoop
    thread: threading.Thread

    def stop(self) -> None:
        """End it and wait until it has ended."""
        self.loop.call_soon_threadsafe(self.server.stop)
        self.thread.join(PATIENCE_S)
        assert not self.thread.is_alive()


@dataclass
class Watched:
    """A page and everything that it complained of."""

    page: Page
    complaints: list[str] = field(default_factory=list)


@contextmanager
def serving(app: FastAPI, store: Store) -> Iterator[Service]:
    """A service for an application, until the block ends; closes the store."""
    loop, ready, ports = asyncio.new_event_loop(), threading.Event(), []

    def heard(port: int) -> None:
        ports.append(port)
        ready.set()

    server = make_server(app, "127.0.0.1", 0, heard)
    thread = threading.Thread(target=loop.run_until_complete, args=(server.serve(),), daemon=True)
    thread.start()
    assert ready.wait(PATIENCE_S)
    running = Service(f"http://127.0.0.1:{ports[0]}", app, store, server, loop, thread)
    yield running
    if thread.is_alive():
        running.stop()
    loop.close()
    store.close()


@pytest.fixture
def service(tmp_path: Path) -> Iterator[Service]:
    with serving(*works(tmp_path)) as running:
        yield running


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """Closed after each module: while it is open no other test of this thread can have an event loop."""
    found = chromium()
    if found is None:
        pytest.skip("no Chromium: install one or set SWARFLINE_CHROMIUM")
    with sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=found, args=["--no-sandbox"])
        yield started
        started.close()


@pytest.fixture
def watch(browser: Browser):
    """Opens a page of its own context whose complaints are collected."""
    contexts = []

    def open_page(**options: object) -> Watched:
        context = browser.new_context(**options)
        context.set_default_timeout(PATIENCE_S * 1000)
        contexts.append(context)
        watched = Watched(context.new_page())
        watched.page.on("console", lambda m: watched.complaints.append(m.text))
        watched.page.on("pageerror", lambda e: watched.complaints.append(str(e)))
        return watched

    yield open_page
    for context in contexts:
        context.close()


@pytest.fixture(scope="module")
def axe() -> Callable[[Page], list[str]]:
    """What axe-core finds on a page, whose context has to be opened with ``bypass_csp``: the library compiles text
    of its own, which our policy forbids. It is missing only where npm is.
    """
    if not AXE.is_file():
        why = "axe-core is not installed: npm ci --prefix tests/peers --ignore-scripts"
        if os.environ.get("CI") == "true":
            pytest.fail(why)
        pytest.skip(why)
    library = AXE.read_text("utf-8")

    def findings(page: Page) -> list[str]:
        page.evaluate(library)
        return page.evaluate(FINDINGS)

    return findings
