"""Every page over a plant that is awkward to show: it answers, stays within the screen, and nothing complains."""

from __future__ import annotations

import pytest
from awkward import FAST, LETTERS, LOST, TOOL, UNSEEN, crowded, names, sort_of

from conftest import serving

pytestmark = pytest.mark.browser

NAMES = names(60)
LONG = next(n for i, n in enumerate(NAMES) if sort_of(i) == FAST and len(n) == len(LETTERS))
NEVER = next(n for i, n in enumerate(NAMES) if sort_of(i) == UNSEEN)
LATELY = next(n for i, n in enumerate(NAMES) if sort_of(i) == LOST and len(n) == len(LETTERS))
PAGES = (
    "/", "/production?span=shift&in=money", "/production?span=day&against=before", "/production/stops?span=shift",
    "/cycles", "/tools", f"/tools?machine={LONG}", "/energy", "/alerts", "/alerts/1", "/notifications",
    "/reports?span=shift", "/wall", "/connections", "/api", "/studies", f"/run-offs?machine={LONG}",
    *(f"/machines/{m}{rest}" for m in (LONG, NEVER, LATELY) for rest in ("", "/cycles", "/tools")),
    f"/machines/{LONG}/cycles/at?start=2026-03-10T09:00:00%2B01:00",
)  # fmt: skip

BEYOND = """() => [...document.querySelectorAll("main *")].filter(e => {
  const box = e.getBoundingClientRect();
  return box.width && box.right > innerWidth + 1 && !e.closest("svg, .unseen, .chart");
}).map(e => `${e.tagName} ${e.textContent.trim().slice(0, 40)}`).slice(0, 5)"""

OVER_ANOTHER = r"""() => [...document.querySelectorAll("main :is(td, th)")].filter(cell => {
  const written = document.createRange();
  written.selectNodeContents(cell);
  const text = written.getBoundingClientRect(), box = cell.getBoundingClientRect();
  return text.width && text.right > box.right + 2 && box.height > 2 && !cell.closest("thead, .unseen");
}).map(cell => cell.textContent.trim().replace(/\s+/g, " ").slice(0, 60)).slice(0, 5)"""
"""Cells of tables whose text reaches into the next one."""

CUT = """() => [...document.querySelectorAll("article h2")].filter(name => {
  const place = name.closest("article");
  return name.scrollWidth > name.clientWidth + 1 || place.scrollHeight > place.clientHeight;
}).map(name => name.textContent.trim())"""

NEXT_SHEET = """() => {
  document.querySelector(".sheet").remove();
  document.querySelector(".sheet")?.removeAttribute("data-later");
}"""


@pytest.fixture(scope="module")
def plant(tmp_path_factory):
    with serving(*crowded(tmp_path_factory.mktemp("awkward"))) as running:
        yield running


@pytest.mark.parametrize(("width", "locale"), [(360, "de-DE"), (1280, "en-GB")])
def test_every_page_stays_within_the_screen_and_nothing_complains(plant, watch, width, locale):
    watched = watch(viewport={"width": width, "height": 740}, locale=locale)
    page, wrong = watched.page, {}
    for path in PAGES:
        answer = page.goto(plant.url + path)
        found = [*page.evaluate(OVER_ANOTHER), *watched.complaints]
        if page.evaluate("() => document.scrollingElement.scrollWidth") > width:
            found += ["scrolls sideways", *page.evaluate(BEYOND)]
        if answer.status != 200 or found:
            wrong[path] = (answer.status, found)
        watched.complaints.clear()
    assert wrong == {}


def test_the_wall_cuts_no_name(plant, watch):
    page = watch(viewport={"width": 1920, "height": 1080}).page
    page.route("**/wall.js", lambda route: route.abort())
    page.goto(plant.url + "/wall")
    assert page.locator("article h2", has_text=LONG).count() == 1
    for _ in page.locator(".sheet").all():
        assert page.evaluate(CUT) == []
        page.evaluate(NEXT_SHEET)


def test_of_a_machine_that_was_never_seen_no_part_is_known(plant, watch):
    page = watch(java_script_enabled=False).page
    page.goto(plant.url)
    row = page.locator("tr", has=page.locator(f"a[href='/machines/{NEVER}']"))
    assert row.locator("[data-label=Parts] .figure").inner_text() == "–"
    page.goto(f"{plant.url}/machines/{NEVER}")
    made = page.locator("[aria-labelledby=oee-title] dl > div", has_text="Parts made").locator("dd")
    assert made.inner_text().startswith("–")
    page.goto(f"{plant.url}/reports?span=shift")
    row = page.locator("#machines tr", has=page.locator(f"th:text-is('{NEVER}')"))
    assert row.locator("[data-label=Made]").inner_text() == "–"


def test_above_a_hundred_per_cent_it_is_said_why_and_drawn_within_its_frame(plant, watch):
    page = watch(java_script_enabled=False).page
    row = f"tr:has(a[href='/machines/{LONG}'])"
    for path, where in (("/", row), (f"/machines/{LONG}", "[aria-labelledby=oee-title]")):
        page.goto(plant.url + path)
        told = page.locator(where).inner_text()
        assert "153.0 %" in told and "Above 100 %: the planned time is too long." in told, path
    page.goto(f"{plant.url}/production?span=shift")
    outside = """() => [...document.querySelectorAll(".picture path")].filter(path =>
      path.getBoundingClientRect().right > path.ownerSVGElement.getBoundingClientRect().right + 1).length"""
    assert page.locator(".picture path").count() > 60 and page.evaluate(outside) == 0


def test_a_tool_named_by_a_word_keeps_its_name(plant, watch):
    page = watch(java_script_enabled=False).page
    page.goto(f"{plant.url}/machines/{LONG}/tools")
    heads = page.locator("tbody th").all_inner_texts()
    assert f"{TOOL} Face mill 50" in heads and f"T7 {TOOL}" in heads
