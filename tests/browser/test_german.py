"""The pages in German in a real browser: alerts that come live, the chart that zooms, a form that is refused."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect
from serve.works import NOW, works
from test_cycles import PAGES, compared  # noqa: F401

from conftest import Service, serving
from swarfline.alerts import Alert
from swarfline.plant.alerts import ScrapTable
from swarfline.store import Batch
from swarfline.watch.rules.scrap_rate import Made, see

pytestmark = pytest.mark.browser

SEEN = see(Made("N1", False, 80, 10), ScrapTable())
SCRAP = Alert(SEEN.rule, "N1", "machine", SEEN.severity, SEEN.text, NOW, detail=SEEN.detail)
SAID = "10 von 80 zuletzt auf N1 gefertigten Teilen sind Ausschuss: 12,5 %"


@pytest.fixture
def plant(tmp_path):
    app, store = works(tmp_path)
    with serving(app, store) as running:
        yield running


def test_an_alert_that_comes_live_is_told_in_german(plant: Service, watch):
    watched = watch(locale="de-DE", viewport={"width": 360, "height": 740})
    watched.page.goto(plant.url)
    expect(watched.page.locator("#link-word")).to_have_text(", live")
    plant.store.writer().commit(Batch(raised=[SCRAP]))
    expect(watched.page.locator("#alerts")).to_contain_text(SAID)
    assert watched.page.evaluate("() => document.documentElement.scrollWidth") <= 360
    assert watched.complaints == []


def test_the_chart_that_zooms_writes_its_dates_and_buttons_in_german(compared: Service, watch):  # noqa: F811
    watched = watch(locale="de-DE")
    watched.page.goto(compared.url + PAGES[1])
    chart = watched.page.locator(".chart").first
    expect(chart.locator(".main-svg").first).to_be_visible()
    days = " ".join(chart.locator(".xtick text").all_text_contents())
    assert "März 2026" in days or "Mär 2026" in days
    expect(chart.locator(".modebar-btn[data-title='Verschieben']")).to_have_count(1)
    assert watched.complaints == []


def test_a_refused_form_says_why_in_german(plant: Service, watch):
    watched = watch(locale="de-DE", viewport={"width": 360, "height": 740})
    watched.page.goto(f"{plant.url}/machines/N1")
    watched.page.get_by_text("Ausschuss, Nacharbeit, gut").click()
    form = watched.page.locator("form[action$='/judgements']")
    form.get_by_label("Ihr Name").fill("Ana")
    form.get_by_label("Menge").fill("5000")
    form.get_by_label("Ausschuss").check()
    form.get_by_role("button").click()
    expect(watched.page.locator("#entered")).to_contain_text("Nicht eingetragen: Menge: von ")
    assert watched.page.evaluate("() => document.documentElement.scrollWidth") <= 360
