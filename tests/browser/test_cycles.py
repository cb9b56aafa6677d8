"""The pages of cycles, studies and run-offs in a real browser: zoom, width, paper."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import expect
from serve.compared import AT, TWO, facts
from serve.works import NOW
from test_pages import CONTRAST

from conftest import Service, serving
from swarfline.plant import load
from swarfline.serve import create_app
from swarfline.store import Batch, Store

pytestmark = pytest.mark.browser

STUDY = f"/studies?machine=N1&program=O1201&at={AT.replace('+', '%2B')}"
RUN_OFF = "/run-offs?machine=N1&part=PH-12&n=40"
ONE = "/machines/N1/cycles/at?start=2026-03-10T07:00:00%2B01:00"
PAGES = ("/cycles", "/machines/N1/cycles?program=O1201&part=PH-12", ONE, STUDY, RUN_OFF, "/machines/S1/cycles")


@pytest.fixture(scope="module")
def compared(tmp_path_factory):
    folder = tmp_path_factory.mktemp("compared")
    (folder / "plant.toml").write_text(TWO, encoding="utf-8")
    store = Store.open(f"sqlite:///{folder / 'works.db'}")
    store.writer().commit(Batch(facts=facts(), seen_us=NOW))
    app = create_app(load(folder / "plant.toml"), store, clock_us=lambda: NOW)
    with serving(app, store) as running:
        yield running


@pytest.mark.parametrize("path", PAGES)
def test_nothing_to_complain_of_and_nothing_scrolls_sideways(compared: Service, watch, path):
    watched = watch(viewport={"width": 360, "height": 740}, color_scheme="dark")
    watched.page.goto(compared.url + path)
    for summary in watched.page.locator("summary").all():
        summary.click()
    assert watched.page.evaluate("() => document.documentElement.scrollWidth") <= 360
    assert watched.page.evaluate(CONTRAST) == []
    watched.page.emulate_media(color_scheme="light")
    # a chart is drawn anew in the other colours, which takes it a moment
    for _ in range(100):
        if watched.page.evaluate(CONTRAST) == []:
            break
        watched.page.wait_for_timeout(50)
    assert watched.page.evaluate(CONTRAST) == []
    assert watched.page.locator("h1").count() == 1
    assert watched.page.locator("table:not(:has(caption))").count() == 0
    assert watched.complaints == []


def test_the_chart_marks_the_steps_in_level(compared: Service, watch):
    watched = watch()
    watched.page.goto(compared.url + PAGES[1])
    expect(watched.page.locator(".chart .main-svg").first).to_be_visible()
    expect(watched.page.locator(".chart .annotation-text")).to_have_text("−2.0 s")
    expect(watched.page.locator(".chart-note").first).to_contain_text("Upright: steps in level.")
    expect(watched.page.locator("details.chart-table")).not_to_have_attribute("open", "")
    assert watched.complaints == []


def test_on_paper_the_course_stands_for_the_chart(compared: Service, watch):
    page = watch().page
    page.goto(compared.url + PAGES[1])
    expect(page.locator("details.chart-table")).not_to_have_attribute("open", "")
    page.emulate_media(media="print")
    expect(page.locator(".chart").first).to_be_hidden()
    expect(page.get_by_role("table", name="Steady cycles by day")).to_be_visible()


def test_a_point_of_the_chart_opens_its_cycle(compared: Service, watch):
    page = watch().page
    page.goto(compared.url + PAGES[1] + "&lang=de")
    expect(page.locator(".chart .main-svg").first).to_be_visible()
    assert re.search(
        r"\d,\d s", page.locator(".chart-note").first.inner_text()
    )  # as numbers are written in German
    point = page.locator(".chart .scatterlayer .point").last
    page.locator(".chart").scroll_into_view_if_needed()
    box = point.bounding_box()
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    expect(page.locator(".chart .hoverlayer .hovertext")).to_have_count(1)
    page.mouse.down()
    page.mouse.up()
    page.wait_for_url("**/cycles/at?start=*")
    expect(page.locator(".daybar p")).to_contain_text("11:05:00")  # where the newest of the steady ones began


def test_complete_without_scripts(compared: Service, watch):
    page = watch(java_script_enabled=False).page
    page.goto(compared.url + "/cycles")
    page.get_by_role("row", name="N2").get_by_role("link").first.click()
    expect(page.get_by_role("table", name="Steady cycles by day")).to_contain_text("39.0 s")
    expect(page.locator(".chart").first).to_be_hidden()
    page.get_by_role("table", name="The cycles").get_by_role("link").first.click()
    expect(page.get_by_role("heading", level=1)).to_have_text("One cycle of N2")
    page.get_by_role("link", name="Cycle before").click()
    expect(page.get_by_role("table", name="By tool, in the spindle")).to_contain_text("T7")


def test_a_study_is_asked_for_by_the_keyboard(compared: Service, watch):
    page = watch().page
    page.goto(compared.url + "/studies")
    page.get_by_label("machine").select_option("N1")
    page.get_by_label("the change was at").fill("2026-03-10T09:00")
    page.keyboard.press("Enter")
    expect(page.locator(".ruling").first).to_contain_text("The second is faster by 2.0")
    expect(page.get_by_label("the change was at")).to_have_value("2026-03-10T09:00")


@pytest.mark.parametrize("path", [STUDY, RUN_OFF])
def test_a_sheet_fits_on_a4_and_is_to_be_signed(compared: Service, watch, path):
    page = watch(color_scheme="dark").page
    page.goto(compared.url + path)
    paper = page.pdf(prefer_css_page_size=True)
    assert len(re.findall(rb"/Type\s*/Page\b", paper)) == (1 if path == RUN_OFF else 2)
    sizes = re.findall(rb"/MediaBox\s*\[0 0 ([\d.]+) ([\d.]+)\]", paper)
    assert sizes and all(
        abs(float(w) - 595) < 2 and abs(float(h) - 842) < 2 for w, h in sizes
    )  # ISO 216, in points
    page.emulate_media(media="print")
    page.set_viewport_size({"width": 688, "height": 1000})  # what is left of A4 between its margins, in CSS pixels
    tops = page.locator(".lines > div").evaluate_all("found => found.map(e => e.getBoundingClientRect().top)")
    assert len(tops) == 2 and tops[0] == tops[1]
    expect(page.get_by_text("Signature").first).to_be_visible()
    expect(page.locator("form")).to_be_hidden()
    # only the foot of a table is printed on every page (CSS 2.2, 17.2)
    assert page.locator(".sheet-foot").evaluate("e => getComputedStyle(e).display") == "table-footer-group"
    assert page.locator(".singles li").count() == (40 if path == RUN_OFF else 0)
    expect(page.get_by_role("heading", level=2).first).to_be_visible()
    assert page.locator("body").evaluate("b => getComputedStyle(b).backgroundColor") == "rgb(255, 255, 255)"
