"""The pages in a real browser: with and without scripts, wide and narrow, light and dark, live and cut off."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from playwright.sync_api import expect
from serve.works import HOUR, MIDNIGHT, NOW, SECOND, START, facts, now_of

from swarfline.facts import Cycle
from swarfline.store import Batch

pytestmark = pytest.mark.browser

PAGES = ("/", "/machines/N1", "/machines/S1", "/connections", "/api", "/machines/none")
LIBRARY = re.compile(r"/assets/\w+/plotly\.min\.js$")


def settle(page):
    """Until the stream has told something, where the page has one."""
    if page.locator("#link").count():
        expect(page.locator("#link")).to_have_attribute("data-link", "live")


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("path", PAGES)
def test_nothing_to_complain_of(service, watch, path, scheme):
    watched = watch(color_scheme=scheme)
    watched.page.goto(service.url + path)
    settle(watched.page)
    allowed = "the server responded with a status of 404" if path.endswith("none") else None
    assert [c for c in watched.complaints if not (allowed and allowed in c)] == []


@pytest.mark.parametrize("path", PAGES)
@pytest.mark.parametrize("width", [360, 768, 1920])
def test_nothing_scrolls_sideways(service, watch, path, width):
    page = watch(viewport={"width": width, "height": 800}).page
    page.goto(service.url + path)
    settle(page)
    for summary in page.locator("summary").all():
        summary.click()
    assert page.evaluate("() => document.documentElement.scrollWidth") <= width


def test_complete_without_scripts(service, watch):
    page = watch(java_script_enabled=False).page
    page.goto(service.url)
    row = page.get_by_role("row", name="N1")
    for text in ("waiting", "110", "80.2 %", "T7 Face mill 50", "5 cycles"):
        expect(row).to_contain_text(text)
    expect(page.get_by_role("status")).to_contain_text("reload")
    page.get_by_role("link", name="N1").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("N1")
    expect(page.get_by_role("table", name="Cycle times of PH-12 by hour")).to_contain_text("170.0 s")
    expect(page.locator(".chart").first).to_be_hidden()
    page.get_by_role("link", name="earlier", exact=True).click()
    expect(page.locator("#content")).to_contain_text("Never observed on this day.")


def test_a_cell_follows_the_machine(service, watch):
    watched = watch()
    watched.page.goto(service.url)
    settle(watched.page)
    row = watched.page.get_by_role("row", name="N1")
    expect(row).to_contain_text("waiting")
    watched.page.locator("#totals-title").evaluate("title => { title.dataset.kept = '1' }")
    fault = now_of("N1", "fault", NOW, values={"part": "MB-05", "lot": "L9"})
    service.store.writer().commit(Batch(now={"N1": fault}))
    expect(row).to_contain_text("fault")
    expect(row).to_contain_text("MB-05 · L9")
    expect(row).to_have_attribute("data-condition", "fault")
    expect(row.locator("use").first).to_have_attribute("href", "#mark-fault")
    expect(watched.page.locator("#totals-title")).to_have_attribute("data-kept", "1")
    assert watched.complaints == []


def test_a_lost_machine_shows_nothing_old(service, watch):
    page = watch().page
    page.goto(service.url)
    settle(page)
    lost = now_of("N1", "producing", MIDNIGHT, linked=False)
    service.store.writer().commit(Batch(now={"N1": lost}))
    row = page.get_by_role("row", name="N1")
    expect(row).to_contain_text("unobserved")
    expect(row).not_to_contain_text("L1")


def test_a_lost_service_is_said(service, watch):
    page = watch().page
    page.goto(service.url)
    settle(page)
    service.stop()
    expect(page.get_by_role("status")).to_contain_text("connection lost, figures are old")
    expect(page.locator("#link")).to_have_attribute("data-link", "lost")


def test_the_chart_is_drawn_and_sends_nothing_away(service, watch, tmp_path):
    watched = watch()
    asked: list[str] = []
    watched.page.on("request", lambda r: asked.append(r.url))
    watched.page.goto(service.url + "/machines/N1")
    if watched.page.locator(".chart").get_attribute("data-lib") is None:
        pytest.fail("the charting library is missing from this installation: run pip install")
    watched.page.locator("#cycles-title").scroll_into_view_if_needed()
    expect(watched.page.locator(".chart .main-svg").first).to_be_visible()
    expect(watched.page.locator(".chart-note")).to_contain_text("mean 170.0 s, the centre line")
    titles = watched.page.locator(".modebar-btn").evaluate_all("found => found.map(b => b.dataset.title || '')")
    assert titles and not [t for t in titles if re.search("share|cloud|chart studio", t, re.IGNORECASE)]
    assert [u for u in asked if not u.startswith(service.url)] == []
    assert watched.complaints == []


def test_the_line_of_the_chart_is_the_centre_line_of_the_limits(service, watch):
    """One slow cycle parts the mean from the median: (110 × 170 s + 500 s) ÷ 111 = 173.0 s against 170 s."""
    usual = next(f for f in facts() if isinstance(f, Cycle))
    slow = replace(usual, start_us=START - HOUR, end_us=START - HOUR + 500 * SECOND)
    service.store.writer().commit(Batch(facts=[slow]))
    page = watch().page
    page.goto(service.url + "/machines/N1")
    page.locator("#cycles-title").scroll_into_view_if_needed()
    expect(page.locator(".chart-note")).to_contain_text("mean 173.0 s, the centre line")
    lines = page.evaluate("() => document.querySelector('.chart').layout.shapes.map(s => [s.line.dash, s.y0])")
    (centre,) = (y for dash, y in lines if dash == "solid")
    limits = [y for dash, y in lines if dash == "dash"]
    assert centre == pytest.approx((110 * 170 + 500) / 111)
    assert sum(limits) / 2 == pytest.approx(centre)


def test_the_day_comes_as_a_file(service, watch):
    page = watch().page
    page.goto(service.url + "/machines/N1")
    with page.expect_download() as told:
        page.get_by_role("link", name="Cycles as CSV").click()
    assert told.value.suggested_filename == "N1-2026-03-10-cycles.csv"
    assert len(told.value.path().read_text().splitlines()) == 1 + 110


def test_an_unknown_machine_leads_back(service, watch):
    page = watch().page
    assert page.goto(service.url + "/machines/NOPE").status == 404
    expect(page.locator("#content")).to_contain_text("There is no machine 'NOPE' in this plant.")
    page.get_by_role("link", name="To the plant now").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Plant now")


def test_zooming_asks_for_the_window(service, watch):
    page = watch().page
    page.goto(service.url + "/machines/N1")
    page.locator("#cycles-title").scroll_into_view_if_needed()
    expect(page.locator(".chart .main-svg").first).to_be_visible()
    edges = "'2026-03-10 07:00', '2026-03-10 08:00'"
    with page.expect_response(lambda r: "cycles/series" in r.url and "07%3A00%3A00" in r.url) as told:
        page.evaluate(f"() => Plotly.relayout(document.querySelector('.chart'), {{'xaxis.range': [{edges}]}})")
    found = told.value.json()
    assert found["from"] == "2026-03-10T07:00:00+01:00" and found["count"] == 20
    page.wait_for_function("() => document.querySelector('.chart').data[0].y.length === 20")


def test_without_the_library_the_table_stays(service, watch):
    page = watch().page
    page.route(LIBRARY, lambda route: route.abort())
    page.goto(service.url + "/machines/N1")
    page.locator("#cycles-title").scroll_into_view_if_needed()
    expect(page.locator(".chart-note")).to_contain_text("could not be loaded")
    expect(page.get_by_role("table", name="Cycle times of PH-12 by hour")).to_be_visible()
    settle(page)


def test_the_keyboard_reaches_everything_and_shows_where_it_is(service, watch):
    page = watch().page
    page.goto(service.url)
    page.keyboard.press("Tab")
    expect(page.get_by_role("link", name="Skip to content")).to_be_focused()
    reached = set()
    while True:
        page.keyboard.press("Tab")
        if page.evaluate("() => document.activeElement === document.body"):
            break
        reached.add(page.evaluate("() => document.activeElement.textContent.trim()"))
        outline = page.evaluate("() => getComputedStyle(document.activeElement).outlineStyle")
        assert outline == "solid"
    assert {"Plant now", "Connections", "API", "N1", "South one", "What the marks mean"} <= reached


CONTRAST = """() => {
  const light = (c) => { const [r, g, b] = c.map((v) => { v /= 255;
      return v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4; });
    return 0.2126 * r + 0.7152 * g + 0.0722 * b; };
  const numbers = (text) => text.match(/[\\d.]+/g).map(Number);
  const ground = (element) => { for (let e = element; e; e = e.parentElement) {
      const found = numbers(getComputedStyle(e).backgroundColor);
      if (found.length === 3 || found[3] > 0) return found.slice(0, 3); } return [255, 255, 255]; };
  const poor = [];
  for (const element of document.querySelectorAll("body *")) {
    const own = [...element.childNodes].some((n) => n.nodeType === 3 && n.textContent.trim());
    if (!own || !element.getClientRects().length) continue;
    const [a, b] = [numbers(getComputedStyle(element).color).slice(0, 3), ground(element)].map(light);
    const ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
    const text = element.textContent.trim().slice(0, 30);
    if (ratio < 4.5) poor.push(`${element.tagName} ${text} ${ratio.toFixed(2)}`);
  }
  return poor;
}"""


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("path", ["/", "/machines/N1", "/connections", "/api"])
def test_contrast(service, watch, path, scheme):
    """At least 4.5 to 1 for every text (WCAG 2.2, success criterion 1.4.3)."""
    page = watch(color_scheme=scheme).page
    page.goto(service.url + path)
    settle(page)
    assert page.evaluate(CONTRAST) == []


def test_print_keeps_the_marks(service, watch):
    page = watch().page
    page.goto(service.url)
    page.emulate_media(media="print")
    expect(page.get_by_role("navigation")).to_be_hidden()
    adjust = page.locator(".mark").first.evaluate("m => getComputedStyle(m).printColorAdjust")
    assert adjust == "exact"
