"""The page of reports, and the HTML file, in a real browser."""

from __future__ import annotations

import pytest

pytestmark = pytest.mark.browser


@pytest.mark.parametrize(("width", "scheme"), [(360, "dark"), (1280, "light")])
def test_the_page_reads_without_complaint_or_scrolling_sideways(service, watch, width, scheme):
    watched = watch(viewport={"width": width, "height": 800}, color_scheme=scheme)
    page = watched.page
    page.goto(service.url + "/reports?span=day")
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert watched.complaints == []
    assert page.get_by_role("heading", level=1).inner_text() == "Day report, Tue 10 Mar 2026"
    for table in page.locator("table").all():
        assert table.locator("caption").count() == 1 and table.locator("tbody th[scope=row]").count()
    # a bar is a shape that is there: of some width and height
    box = page.locator("#losses td.bar path").first.bounding_box()
    assert box and box["width"] > 50 and box["height"] > 3


def test_files_come_from_the_page_and_the_html_stands_alone(service, watch, tmp_path):
    watched = watch(accept_downloads=True)
    page = watched.page
    page.goto(service.url + "/reports?span=day")
    names = []
    for link in page.locator(".formats a").all():
        with page.expect_download() as coming:
            link.click()
        names.append(coming.value.suggested_filename)
        coming.value.save_as(tmp_path / names[-1])
    assert names == [f"report-day-2026-03-10.{ending}" for ending in ("html", "pdf", "csv")]
    alone = watch(viewport={"width": 360, "height": 740}, offline=True)
    alone.page.goto(f"file://{tmp_path / names[0]}")
    assert alone.page.get_by_role("heading", level=1).inner_text() == "Day report, Tue 10 Mar 2026"
    assert alone.page.evaluate("document.documentElement.scrollWidth") <= 360
    assert alone.complaints == [] and watched.complaints == []
    colour = alone.page.locator("path.c-good_parts").first.evaluate("shape => getComputedStyle(shape).fill")
    assert colour == "rgb(43, 122, 75)", "the styles are in the file"


def test_another_span_is_chosen_by_the_form(service, watch):
    page = watch().page
    page.goto(service.url + "/reports")
    page.get_by_role("link", name="week", exact=True).click()
    assert page.get_by_role("heading", level=1).inner_text().startswith("Week report, Mon 9 Mar 2026")
    assert "span=week" in page.locator(".formats a").first.get_attribute("href")
