"""Every page as axe-core sees it (from npm, for tests only), by the rules that it runs unless told otherwise."""

from __future__ import annotations

import pytest

pytestmark = pytest.mark.browser

PAGES = (
    "/", "/production", "/production/stops", "/machines/N1", "/cycles", "/machines/N1/cycles", "/tools",
    "/machines/N1/tools", "/energy", "/studies?machine=N1", "/run-offs?machine=N1", "/alerts", "/notifications",
    "/reports", "/wall", "/connections", "/api", "/machines/none",
)  # fmt: skip
CONTEXTS = {
    "light": {"color_scheme": "light"},
    "dark": {"color_scheme": "dark"},
    "phone": {"viewport": {"width": 360, "height": 740}},
    "german": {"locale": "de-DE"},
}


@pytest.mark.parametrize("context", CONTEXTS)
def test_axe_finds_nothing(service, watch, axe, context):
    page, found = watch(**CONTEXTS[context], bypass_csp=True).page, {}
    for path in PAGES:
        answer = page.goto(service.url + path)
        assert answer.status == (404 if path.endswith("none") else 200), path
        if findings := axe(page):
            found[path] = findings
    assert found == {}


def test_it_would_find_something(service, watch, axe):
    page = watch(bypass_csp=True).page
    page.goto(service.url + "/tools")
    page.evaluate("() => document.documentElement.removeAttribute('lang')")
    assert [found for found in axe(page) if "html-has-lang" in found] != []
