"""Loads of a page in Chromium: what came over the network, and when."""

from __future__ import annotations

import statistics
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import httpx
from changing_machine import MACHINE
from playwright.sync_api import Browser, BrowserContext

WATCH = Path(__file__).with_name("watched_page.js").read_text("utf-8") + f'window.watchedCell = "{MACHINE}.part";'
QUIET_MS, LONGEST_MS = 400, 10_000


@dataclass
class Load:
    """One load of a page, as the browser saw it. Times in ms from the start of the navigation."""

    bytes: int
    paths: list[str]
    kept: int
    response_ms: float
    load_ms: float
    laid_ms: float


def load(context: BrowserContext, url: str) -> Load:
    """Load a page in a new tab."""
    page = context.new_page()
    session = context.new_cdp_session(page)
    session.send("Network.enable")
    sizes: dict[str, int] = {}
    asked: dict[str, str] = {}
    kept: set[str] = set()

    def answered(told: Any) -> None:
        response = told["response"]
        if response["mimeType"] == "text/event-stream":
            asked.pop(told["requestId"], None)
        elif response.get("fromDiskCache"):
            kept.add(told["requestId"])

    session.on("Network.requestWillBeSent", lambda told: asked.update({told["requestId"]: told["request"]["url"]}))
    session.on("Network.responseReceived", answered)
    session.on("Network.requestServedFromCache", lambda told: kept.add(told["requestId"]))
    session.on(
        "Network.loadingFinished", lambda told: sizes.update({told["requestId"]: told["encodedDataLength"]})
    )
    page.goto(url, wait_until="load")
    page.wait_for_function("() => watchedPage.laid !== null")
    page.wait_for_timeout(QUIET_MS)
    waited_ms = 0
    # what scripts load later counts too, such as the charting library
    while asked.keys() - sizes.keys() and waited_ms < LONGEST_MS:
        page.wait_for_timeout(QUIET_MS)
        waited_ms += QUIET_MS
    timing = page.evaluate("() => performance.getEntriesByType('navigation')[0].toJSON()")
    laid = page.evaluate("() => watchedPage.laid")
    page.close()
    from_network = sum(size for key, size in sizes.items() if key in asked and key not in kept)
    paths = ["/" + one.split("/", 3)[3] for one in asked.values() if one.startswith("http")]
    gone = len([key for key, one in asked.items() if key in kept and one.startswith("http")])
    return Load(round(from_network), paths, gone, timing["responseStart"], timing["loadEventEnd"], laid)


def loads(browser: Browser, url: str, rounds: int) -> tuple[Load, Load]:
    """A first and a second load, each the middle one of several by its time to the load event."""
    first, second = [], []
    for _ in range(rounds):
        context = browser.new_context(viewport={"width": 1280, "height": 800})
        context.add_init_script(WATCH)
        first.append(load(context, url))
        second.append(load(context, url))
        context.close()
    return _middle(first), _middle(second)


def _middle(found: list[Load]) -> Load:
    return sorted(found, key=lambda one: one.load_ms)[len(found) // 2]


def response_ms(url: str, rounds: int) -> float:
    """Median time to a whole answer, over one connection, without a browser."""
    took = []
    with httpx.Client(headers={"accept-encoding": "gzip"}, timeout=60) as client:
        for _ in range(rounds + 1):
            took.append(client.get(url).elapsed.total_seconds() * 1000)
    return statistics.median(took[1:])
