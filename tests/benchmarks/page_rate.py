"""What pages cost: bytes and times of a load and of a redraw, the way from a machine to the screen, many pages.

    python tests/benchmarks/page_rate.py [--pages 50] [--tabs 10] [--seconds 60] [--changes 60] [--days 3]

Real processes over the loopback: the demo's simulator and service with a past of some days, beside it an asyncua
server whose one machine changes at known times (``changing_machine``), and headless Chromium. As baseline of the
same run a bare FastAPI route answers the same bytes (``bare_pages``), for loads and for streams. Printed:

1. per page: bytes and requests of a first and of a second load, time to a whole answer without a browser; in the
   browser to the first byte, to the load event and to the first layout after it; ratios to the bare pages;
2. per page with a stream: bytes of an event, time from its arrival in the page to the changed document, and until
   that is laid out anew;
3. from the time a value was written in the machine's server to the time the document shows it, beside the
   publishing interval and the budget of that interval and 250 ms;
4. share of a core and memory of the service with no page and with many, tabs of Chromium and streams; whether each
   had every event; and the share that the bare streams cost.

Only ratios, and the comparison with the publishing interval, say something beyond this machine.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tempfile
import time
from contextlib import ExitStack
from pathlib import Path

from bare_pages import STREAM
from changing_machine import written
from open_pages import read_one, share, spent
from page_loads import WATCH, loads, response_ms
from page_plant import HERE, Running, bare, chromium, running
from playwright.sync_api import Browser, Page, sync_playwright

LOADED = (
    "/", "/production", "/machines/N1", "/machines/N1/cycles", "/tools", "/energy", "/alerts", "/wall",
)  # fmt: skip
LIVE = ("/", "/machines/N1", "/alerts", "/wall")
LIVE_PATH = "/api/v1/live?of=page"
PUBLISHING_MS, BUDGET_MS = 500, 250
ROUNDS, ANSWERS = 5, 9
REDRAW_S, QUIET_S = 12.0, 3.0


def at(ordered: list[float], share_of: float) -> float:
    """The value below which that share lies; nearest rank."""
    return ordered[min(len(ordered) - 1, int(share_of * len(ordered)))]


def spread(values: list[float]) -> str:
    """Median, 95th hundredth and largest."""
    found = sorted(values)
    return f"{at(found, 0.5):9.1f}{at(found, 0.95):9.1f}{found[-1]:9.1f}"


def show_loads(browser: Browser, plant: Running) -> None:
    """Part 1."""
    print(
        f"1. loads, the middle of {ROUNDS}; answer: median of {ANSWERS} without a browser; x: times the bare page"
    )
    print(f"{'':21}{'bytes':>9}{'again':>8}{'requests':>9}{'again':>7}{'answer ms':>10}{'x':>6}{'byte ms':>9}"
          f"{'load ms':>9}{'x':>6}{'laid out':>9}{'again ms':>9}")  # fmt: skip
    for path in LOADED:
        first, second = loads(browser, plant.url + path, ROUNDS)
        with bare(plant, first.paths, b"", 1.0) as (url, _):
            least, _ = loads(browser, url + path, ROUNDS)
            least_ms = response_ms(url + path, ANSWERS)
        ours_ms = response_ms(plant.url + path, ANSWERS)
        asked = len(second.paths) - second.kept
        print(
            f"{path:21}{first.bytes:9d}{second.bytes:8d}{len(first.paths):9d}{asked:7d}{ours_ms:10.1f}"
            f"{ours_ms / least_ms:6.1f}{first.response_ms:9.0f}{first.load_ms:9.0f}"
            f"{first.load_ms / least.load_ms:6.1f}{first.laid_ms:9.0f}{second.load_ms:9.0f}",
            flush=True,
        )


def open_page(browser: Browser, url: str) -> Page:
    """A page that is watched, in a context of its own: browsers share six connections among the tabs of one."""
    page = browser.new_context(viewport={"width": 1280, "height": 800}).new_page()
    page.add_init_script(WATCH)
    page.goto(url, wait_until="load")
    return page


def show_redraws(browser: Browser, plant: Running) -> None:
    """Part 2."""
    print("\n2. redraws, ms: median, p95, largest")
    print(f"{'':21}{'events':>7}{'bytes':>8}   {'document changed':^27}   {'laid out':^27}")
    for path in LIVE:
        page = open_page(browser, plant.url + path)
        page.wait_for_timeout(REDRAW_S * 1000)
        told = page.evaluate("() => watchedPage.redraws")
        page.context.close()
        ticks = [one for one in told if one["name"] == "tick"]
        drawn = [one for one in ticks if one["dom"] is not None]
        size = sorted(one["bytes"] for one in ticks)[len(ticks) // 2]
        print(
            f"{path:21}{len(ticks):7d}{size:8d}   {spread([one['dom'] for one in drawn])}   "
            f"{spread([one['laid'] for one in drawn])}",
            flush=True,
        )


def show_way(browser: Browser, plant: Running, changes: int) -> None:
    """Part 3."""
    page = open_page(browser, plant.url + "/")
    page.evaluate("() => { watchedPage.parts.length = 0; }")
    while len(found := page.evaluate("() => watchedPage.parts")) < changes + 1:
        page.wait_for_timeout(1000)
    page.context.close()
    sent = written(plant.changing.text)
    # the first may be of a change that was made before the page was open
    way = [shown_ms - sent[part] / 1000 for part, shown_ms in found[1:] if part in sent]
    numbers = [int(part[1:]) for part, _ in found if part in sent]
    skipped = numbers[-1] - numbers[0] + 1 - len(set(numbers))
    print(f"\n3. change at the machine to the screen, ms: median, p95, largest of {len(way)}; {skipped} unseen")
    print(f"{'whole':21}{spread(way)}")
    p95, limit = at(sorted(way), 0.95), PUBLISHING_MS + BUDGET_MS
    kept = "kept" if p95 <= limit else "MISSED"
    print(f"publishing interval {PUBLISHING_MS} ms; p95 {p95 - PUBLISHING_MS:+.0f} ms to it")
    print(f"budget (interval + {BUDGET_MS} ms): {p95 / limit:.2f} x, {kept}", flush=True)


def streams(url: str, count: int, seconds: float) -> subprocess.Popen[str]:
    """Streams in a process of their own."""
    command = [sys.executable, str(HERE / "open_pages.py"), url, str(count), str(seconds)]
    return subprocess.Popen(command, stdout=subprocess.PIPE, text=True)


def show_many(browser: Browser, plant: Running, pages: int, tabs: int, seconds: float) -> None:
    """Part 4."""
    time.sleep(QUIET_S)
    before = spent(plant.service.pid)
    time.sleep(seconds)
    quiet = spent(plant.service.pid)
    process = streams(plant.url + LIVE_PATH, 1, seconds)
    time.sleep(QUIET_S)
    one_before = spent(plant.service.pid)
    process.communicate()
    one_after = spent(plant.service.pid)
    opened = [open_page(browser, plant.url + LIVE[number % len(LIVE)]) for number in range(tabs)]
    process = streams(plant.url + LIVE_PATH, pages - tabs, seconds + 2 * QUIET_S)
    opened[0].wait_for_timeout(QUIET_S * 1000)
    many_before = spent(plant.service.pid)
    opened[0].wait_for_timeout(seconds * 1000)
    many = spent(plant.service.pid)
    seen = [page.evaluate("() => ({events: watchedPage.events, behind: watchedPage.behind})") for page in opened]
    for page in opened:
        page.context.close()
    told = json.loads(process.communicate()[0])
    shares = share(before, quiet), share(one_before, one_after), share(many_before, many)
    print(f"\n4. {pages} open pages for {seconds:.0f} s: {tabs} tabs of Chromium and {pages - tabs} streams")
    print(f"{'':21}{'core %':>9}{'MB':>9}")
    for name, part, look in zip(("no page", "one", f"{pages}"), shares, (quiet, one_after, many), strict=True):
        print(f"{name:21}{part * 100:9.1f}{look.resident_mb:9.1f}")
    each = (shares[2] - shares[1]) / max(1, pages - 1) * 100
    events = [row["events"] for row in told]
    print(f"the first page costs {(shares[1] - shares[0]) * 100:+.1f} % of a core, each further {each:+.3f} %, "
          f"all {many.resident_mb - quiet.resident_mb:+.1f} MB")  # fmt: skip
    print(f"streams: {min(events)} to {max(events)} events, {sum(row['missing'] for row in told)} missing, "
          f"{sum(row['late_snapshots'] for row in told)} fell behind; "
          f"tabs: {min((row['events'] for row in seen), default=0)} events or more, "
          f"{sum(row['behind'] for row in seen)} missing or behind")  # fmt: skip
    per_page = sum(row["bytes"] for row in told) / len(told) / (seconds + 2 * QUIET_S)
    print(f"bytes per second and page {per_page:.0f}", flush=True)
    show_bare(plant, pages, seconds, max(events) / (seconds + 2 * QUIET_S), (shares[2] - shares[0]) * 100)


def show_bare(plant: Running, pages: int, seconds: float, per_s: float, ours: float) -> None:
    """What the same bytes at the same pace cost bare streams."""
    event = read_one(plant.url + LIVE_PATH)
    with bare(plant, ["/wall"], event, 1 / per_s) as (url, process):
        reading = streams(url + STREAM, pages, seconds + QUIET_S)
        time.sleep(QUIET_S)
        before = spent(process.pid)
        reading.communicate()
        least = share(before, spent(process.pid)) * 100
    print(f"bare streams of {len(event)} bytes, {per_s:.1f} a second: {least:.1f} % of a core; "
          f"ours {ours / least:.1f} x")  # fmt: skip


def main() -> None:
    """Everything, in the order of the text above."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--pages", type=int, default=50, help="open pages, tabs among them")
    parser.add_argument("--tabs", type=int, default=10, help="how many of them are tabs of Chromium")
    parser.add_argument("--seconds", type=float, default=60.0, help="how long they are open")
    parser.add_argument("--changes", type=int, default=60)
    parser.add_argument("--days", type=int, default=3, help="of the demo's past")
    parser.add_argument("--only", help="parts to measure, such as 13")
    args = parser.parse_args()
    found = chromium()
    if found is None:
        sys.exit("no Chromium: install one or set SWARFLINE_CHROMIUM")
    if not 0 <= args.tabs < args.pages:
        sys.exit(f"--tabs {args.tabs}: has to be less than the {args.pages} --pages")
    asked = args.only or "1234"
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory()))
        plant = stack.enter_context(running(folder, args.days, PUBLISHING_MS))
        playwright = stack.enter_context(sync_playwright())
        browser = playwright.chromium.launch(executable_path=found, args=["--no-sandbox"])
        stack.callback(browser.close)
        if "1" in asked:
            show_loads(browser, plant)
        if "2" in asked:
            show_redraws(browser, plant)
        if "3" in asked:
            show_way(browser, plant, args.changes)
        if "4" in asked:
            show_many(browser, plant, args.pages, args.tabs, args.seconds)


if __name__ == "__main__":
    main()
