"""The page of alerts in a real browser: seen, acknowledged with and without scripts, fresh by itself."""

from __future__ import annotations

from dataclasses import replace

import pytest
from playwright.sync_api import expect
from serve.works import ALERT, NOW

from swarfline.alerts import URGENT
from swarfline.store import Batch

pytestmark = pytest.mark.browser

LONG = replace(ALERT, subject="2/9", severity=URGENT, raised_us=NOW, text=f"Tool {'x' * 60} past its limit")


@pytest.mark.parametrize("width", [360, 1280])
def test_nothing_to_complain_of_and_nothing_scrolls_sideways(service, watch, width):
    service.store.writer().commit(Batch(raised=[LONG]))
    watched = watch(viewport={"width": width, "height": 740})
    for path in ("/alerts", "/alerts/1"):
        watched.page.goto(service.url + path)
        if path == "/alerts":
            expect(watched.page.locator("#link")).to_have_attribute("data-link", "live")
        for summary in watched.page.locator("summary").all():
            if summary.locator("xpath=..").get_attribute("open") is None:
                summary.click()
        assert watched.page.evaluate("() => document.documentElement.scrollWidth") <= width, path
    assert watched.complaints == []


@pytest.mark.parametrize("scripts", [True, False])
def test_acknowledged_by_keyboard_with_and_without_scripts(service, watch, scripts):
    page = watch(java_script_enabled=scripts).page
    page.goto(service.url + "/alerts")
    item = page.locator("#alert-1")
    item.locator("summary", has_text="Acknowledge").focus()
    page.keyboard.press("Enter")
    item.get_by_label("Your name").first.fill("Ana")
    item.get_by_label("what is done about it").fill("new one is set")
    page.keyboard.press("Enter")
    expect(page.locator("#alert-1")).to_contain_text("acknowledged by Ana: new one is set")
    assert service.store.queries.alert(1).acknowledged.who == "Ana"
    # whoever works by keyboard goes on where they were, and is told what was done
    expect(page.locator("#alert-1")).to_be_focused()
    expect(page.locator("#alert-1 [role=status]")).to_contain_text("Acknowledged by Ana")
    expect(page.locator("#alert-1").get_by_label("Your name").first).to_have_value("Ana")


def test_texts_are_fresh_and_a_list_that_changed_is_told(service, watch):
    page = watch().page
    page.goto(service.url + "/alerts")
    notice = page.get_by_role("link", name="The list has changed. Show it anew.")
    expect(notice).to_be_hidden()
    now = replace(service.store.queries.alert(1), text="Tool 7: 99 of 100", changed_us=NOW)
    service.store.writer().commit(Batch(changed=[now]))
    expect(page.locator("#alert-1 .what a")).to_have_text("Tool 7: 99 of 100")
    expect(notice).to_be_hidden()
    service.store.writer().commit(Batch(raised=[LONG]))
    expect(notice).to_be_visible()
    expect(page.locator("#standing-title")).to_contain_text("2")
    notice.click()
    expect(page.locator("#alert-2")).to_contain_text("past its limit")
