"""A machine's page in a real browser: two taps with gloves on, the timeline by wheel, keys, drag and click."""

from __future__ import annotations

import re
from urllib.parse import parse_qs, urlsplit

import pytest
from playwright.sync_api import expect

from swarfline.entries import Entry, StopReason
from swarfline.serve.times import parse

pytestmark = pytest.mark.browser

PHONE = {"viewport": {"width": 360, "height": 740}, "has_touch": True, "is_mobile": True}
DAY_BEFORE = 1_773_010_800_000_000
LEAST_PX = 44
"""Least size of a target for a finger, as common practice has it (WCAG 2.2, 2.5.5, asks for it too)."""


def window(page):
    query = parse_qs(urlsplit(page.url).query)
    return tuple(parse(query[name][0]) for name in ("from", "to"))


@pytest.mark.parametrize("scripts", [True, False])
def test_a_stop_is_named_with_two_taps_and_the_undo_is_the_third(service, watch, scripts):
    with service.store.entering() as door:
        said = StopReason("No castings")
        door.add(Entry("S1", DAY_BEFORE, DAY_BEFORE + 1, said, "Luis", DAY_BEFORE))
    watched = watch(**PHONE, java_script_enabled=scripts)
    page = watched.page
    page.context.add_cookies([{"name": "who", "value": "Ana", "url": service.url}])
    page.goto(service.url + "/machines/S1")
    first = page.locator("details.stop").first
    for target in (first.locator("summary"), page.locator("#enter summary").last):
        assert target.bounding_box()["height"] >= LEAST_PX
    expect(page.get_by_role("button", name="No castings").first).to_be_hidden()
    first.locator("summary").tap()
    reason = first.get_by_role("button", name="No castings")
    box = reason.bounding_box()
    assert box["height"] >= LEAST_PX and box["width"] >= LEAST_PX and box["x"] + box["width"] <= 360
    reason.tap()
    done = page.locator(".just")
    expect(done).to_contain_text("Entered: Stop, No castings")
    expect(done).to_be_in_viewport()
    expect(page.locator("#stops")).to_contain_text(re.compile(r"No castings\s+Ana"))
    undo = done.get_by_role("button", name="Undo")
    assert undo.bounding_box()["height"] >= LEAST_PX
    undo.tap()
    expect(page.locator(".just")).to_contain_text("Undone: Stop, No castings")
    assert page.evaluate("() => document.documentElement.scrollWidth") <= 360
    (entry, _first) = sorted(service.store.queries.entries(StopReason, "S1", 0, 2**60), key=lambda e: -e.number)
    assert (entry.who, entry.undone.who) == ("Ana", "Ana")
    assert watched.complaints == []


@pytest.mark.parametrize("scripts", [True, False])
def test_one_name_serves_every_button_of_a_stop_and_enter_never_chooses_a_reason(service, watch, scripts):
    with service.store.entering() as door:
        said = StopReason("No castings")
        door.add(Entry("S1", DAY_BEFORE, DAY_BEFORE + 1, said, "Luis", DAY_BEFORE))
    page = watch(**PHONE, java_script_enabled=scripts).page
    page.goto(service.url + "/machines/S1")
    stop = page.locator("details.stop").first
    stop.locator("summary").tap()
    names = stop.get_by_label("Your name")
    expect(names).to_have_count(1)
    # without a name the browser asks for it, whichever button is pressed
    stop.get_by_role("button", name="No castings").tap()
    expect(names).to_be_focused()
    names.fill("Ana")
    names.press("Enter")
    expect(page.locator("#entered")).to_contain_text("Reason: is missing")
    stop = page.locator("details.stop[open]")
    expect(stop.get_by_label("Your name")).to_have_value("Ana")
    stop.get_by_label("Another reason").fill("Chips in the door")
    stop.get_by_label("Another reason").press("Enter")
    expect(page.locator(".just")).to_contain_text("Entered: Stop, Chips in the door")


def test_the_timeline_by_keys_alone(service, watch):
    watched = watch()
    page = watched.page
    page.goto(service.url + "/machines/N1")
    page.locator("#oee-title").evaluate("title => { title.dataset.kept = '1' }")
    page.locator(".plot").focus()
    page.keyboard.press("+")
    page.wait_for_url("**from=**")
    expect(page.locator("#timeline")).to_contain_text("06:00:00 – Tue 10 Mar 2026, 18:00:00")
    assert window(page) == (parse("2026-03-10T06:00:00+01:00"), parse("2026-03-10T18:00:00+01:00"))
    expect(page.locator(".plot")).to_be_focused()
    page.keyboard.press("ArrowLeft")
    expect(page.locator("#timeline")).to_contain_text("03:00:00 – Tue 10 Mar 2026, 15:00:00")
    page.keyboard.press("-")
    expect(page.locator("#timeline")).to_contain_text("Mon 9 Mar 2026, 21:00:00 – Tue 10 Mar 2026, 21:00:00")
    page.keyboard.press("Home")
    expect(page.locator("#timeline")).to_contain_text("Tue 10 Mar 2026, 00:00:00 – Wed 11 Mar 2026, 00:00:00")
    expect(page.locator("#oee-title")).to_have_attribute("data-kept", "1")
    page.get_by_role("link", name="figures of this window").click()
    expect(page.locator("#oee-title")).not_to_have_attribute("data-kept", "1")
    assert watched.complaints == []


def test_the_timeline_by_wheel_drag_and_click(service, watch):
    watched = watch(viewport={"width": 1280, "height": 900})
    page = watched.page
    page.goto(service.url + "/machines/N1")
    lanes = page.locator(".tl-axis dd").bounding_box()
    at = lanes["x"] + lanes["width"] * 10.25 / 24
    page.mouse.move(at, lanes["y"] + 40)
    before = page.evaluate("() => scrollY")
    page.keyboard.down("Control")
    page.mouse.wheel(0, -200)
    page.keyboard.up("Control")
    page.wait_for_url("**from=**")
    start, end = window(page)
    held = parse("2026-03-10T10:15:00+01:00")
    assert end - start < 10 * 3_600_000_000 and page.evaluate("() => scrollY") == before
    # what lay below the pointer lies there still
    assert (held - start) / (end - start) == pytest.approx(10.25 / 24, abs=0.01)
    expect(page.locator(".plot.moving")).to_have_count(0)
    page.mouse.move(at, lanes["y"] + 40)
    page.mouse.down()
    page.mouse.move(at + lanes["width"] / 4, lanes["y"] + 40, steps=4)
    page.mouse.up()
    page.wait_for_function(f"() => !location.href.includes('{page.url.split('from=')[1][:16]}')")
    moved = window(page)
    assert (start - moved[0]) / (end - start) == pytest.approx(0.25, abs=0.01)
    expect(page.locator(".plot.moving")).to_have_count(0)
    page.locator("#timeline .over a", has=page.locator("title", has_text="fault: Door switch")).first.click()
    expect(page.locator("#timeline")).to_contain_text("09:57:00 – Tue 10 Mar 2026, 10:33:00")
    assert watched.complaints == []


def test_links_of_the_timeline_lead_to_pages_where_there_are_no_scripts(service, watch):
    page = watch(java_script_enabled=False).page
    page.goto(service.url + "/machines/N1")
    expect(page.locator(".tl-help")).to_be_hidden()
    page.get_by_role("link", name="closer").click()
    expect(page.locator("#timeline")).to_contain_text("06:00:00 – Tue 10 Mar 2026, 18:00:00")
    page.get_by_text("The same as a list").click()
    page.get_by_role("row", name=re.compile("fault: Door switch")).get_by_role("link").click()
    expect(page.locator("#timeline")).to_contain_text("09:57:00 – Tue 10 Mar 2026, 10:33:00")


def test_a_timeline_that_cannot_be_loaded_says_so(service, watch):
    page = watch().page
    page.goto(service.url + "/machines/N1")
    page.route("**/timeline?**", lambda route: route.abort())
    page.locator(".plot").focus()
    page.keyboard.press("+")
    expect(page.locator(".tl-note")).to_contain_text("could not be loaded")
