"""The wall in Chromium: legible, never old, and back by itself after the server went away."""

from __future__ import annotations

import asyncio
import threading
from math import radians, tan

from swarfline.serve.server import make_server

HALL_MM, SCREEN_MM = 8000, 680
"""Eight metres, and the height of a screen that is 1.2 m wide at 16:9."""
WANTED_ARC, LEAST_ARC = 20 / 60, 16 / 60
"""Degrees: character heights of 20 minutes of arc are preferred, 16 are the least (ISO 9241-303, from memory)."""
CAPITAL = 0.70
"""Height of a capital as a share of the font size, rounded down (common practice, no source)."""


def least_px(arc: float) -> float:
    """Font size on a picture 1080 px high for capitals seen under so many degrees."""
    return HALL_MM * tan(radians(arc)) / SCREEN_MM * 1080 / CAPITAL


def test_what_matters_is_legible_at_eight_metres(service, watch):
    watched = watch(viewport={"width": 1920, "height": 1080})
    watched.page.goto(f"{service.url}/wall")
    watched.page.wait_for_selector("#link[data-link=live]")
    measure = "what => [...document.querySelectorAll(what)].map(e => parseFloat(getComputedStyle(e).fontSize))"
    for what, arc in (("h2", WANTED_ARC), (".parts b", WANTED_ARC), (".condition", LEAST_ARC)):
        sizes = watched.page.evaluate(measure, f"article {what}")
        assert sizes and min(sizes) >= least_px(arc), what
    beyond = watched.page.evaluate(
        "() => [...document.querySelectorAll('article')].filter(a => a.scrollHeight > a.clientHeight).length"
    )
    assert beyond == 0
    assert watched.complaints == []


def test_old_figures_go_away_and_new_ones_come_back(service, watch):
    watched = watch(viewport={"width": 1280, "height": 720})
    page = watched.page
    page.goto(f"{service.url}/wall")
    page.wait_for_selector("#link[data-link=live]")
    assert page.inner_text("article:first-of-type .parts b") != "–"
    port = int(service.url.rpartition(":")[2])
    app = service.app
    service.stop()
    page.wait_for_selector("#link[data-link=lost]")
    assert set(page.locator("main [data-cell]:not([data-to])").all_text_contents()) == {"–"}
    assert page.locator("article[data-condition=unobserved]").count() == page.locator("article").count()
    app.state.hubs.update(
        {code: type(hub)(app.state.room.live, hub._sight) for code, hub in app.state.hubs.items()}
    )
    loop, ready = asyncio.new_event_loop(), threading.Event()
    again = make_server(app, "127.0.0.1", port, lambda port: ready.set())
    thread = threading.Thread(target=loop.run_until_complete, args=(again.serve(),), daemon=True)
    thread.start()
    try:
        assert ready.wait(10)
        page.wait_for_selector("#link[data-link=live]")
        assert page.inner_text("article:first-of-type .parts b") != "–"
    finally:
        page.close()
        loop.call_soon_threadsafe(again.stop)
        thread.join(10)
        loop.close()


def test_without_scripts_it_loads_itself_anew(service, watch):
    watched = watch(java_script_enabled=False)
    watched.page.goto(f"{service.url}/wall")
    assert watched.page.locator("noscript meta[http-equiv=refresh], meta[http-equiv=refresh]").count() == 1
    assert "not live" in watched.page.inner_text("#link")
