"""The production page in a browser: down to a stop, by keyboard, on a phone, without scripts, on paper."""

from __future__ import annotations

import re
from itertools import pairwise

import pytest
from playwright.sync_api import expect

pytestmark = pytest.mark.browser

WHOLE = "/production?span=shift&against=before&in=parts&sort=oee"


def test_from_the_plant_now_down_to_a_stop(service, watch):
    watched = watch(java_script_enabled=False)
    page = watched.page
    page.goto(service.url)
    page.get_by_role("navigation", name="Pages").get_by_role("link", name="Production").click()
    page.get_by_role("link", name="shift", exact=True).click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("early")
    page.get_by_role("link", name="N1: fault, long stops").click()
    expect(page.locator(".totals")).to_contain_text("0.50 h")
    row = page.get_by_role("row", name="Door switch")
    row.get_by_role("link").click()
    expect(page).to_have_url(re.compile(r"/machines/N1\?from="))
    assert watched.complaints == []


def test_the_keyboard_reaches_the_other_time(service, watch):
    page = watch().page
    page.goto(service.url + "/production?span=shift")
    page.get_by_text("Another time beside it").focus()
    page.keyboard.press("Enter")
    page.get_by_label("from", exact=True).last.fill("2026-03-10T06:00")
    page.get_by_label("to", exact=True).last.fill("2026-03-10T08:00")
    page.keyboard.press("Tab")
    page.get_by_role("button", name="Put beside").press("Enter")
    expect(page.locator("#content")).to_contain_text("Beside it: Tue 10 Mar 2026, 06:00–08:00.")


def test_nothing_scrolls_sideways_and_nothing_complains(service, watch):
    for width, scheme in ((360, "light"), (640, "dark"), (1280, "dark")):  # 640: as 1280 at 200 %
        watched = watch(viewport={"width": width, "height": 740}, color_scheme=scheme)
        for path in (WHOLE, "/production/stops?span=shift"):
            watched.page.goto(service.url + path)
            for summary in watched.page.locator("summary").all():
                summary.click()
            assert watched.page.evaluate("() => document.documentElement.scrollWidth") <= width, (path, width)
        assert watched.complaints == []


DRAWN = """() => [...document.querySelectorAll(".ladder tbody tr")].map(row => {
  const box = row.querySelector("path").getBoundingClientRect();
  return [row.className, box.left, box.right];
})"""


def test_a_loss_hangs_where_the_next_level_ends(service, watch):
    """As drawn, on the one scale that all rows share."""
    page = watch(viewport={"width": 1280, "height": 800}).page
    page.goto(service.url + "/production?span=shift&machine=N1")
    drawn = page.evaluate(DRAWN)
    below = [(above, row) for above, row in pairwise(drawn) if above[0] == "lost" and row[0] == "stays"]
    assert len(below) == 2, "what is left after the stops, and after what was produced slowly or as scrap"
    for (_, left, _right), (_, _left, right) in below:
        assert right == pytest.approx(left, abs=1)


def test_on_paper_the_sheet_keeps_its_marks_and_drops_the_forms(service, watch):
    page = watch().page
    page.goto(service.url + WHOLE)
    page.emulate_media(media="print")
    expect(page.locator("form").first).to_be_hidden()
    expect(page.locator(".ladder .mark").first).to_be_visible()
    assert page.pdf(format="A4", print_background=True).count(b"/Type /Page\n") <= 4
