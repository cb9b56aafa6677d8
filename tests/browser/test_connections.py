"""The page of connections is brought up to date in place, and says when it cannot be."""

from __future__ import annotations


def test_it_is_brought_up_to_date_and_says_when_it_is_old(service, watch):
    page = watch().page
    page.clock.install()
    page.goto(f"{service.url}/connections")
    page.evaluate("() => { document.querySelector('h1').textContent = 'altered'; }")
    page.clock.fast_forward(10_100)
    page.wait_for_function("() => document.querySelector('h1').textContent === 'Connections'")
    service.stop()
    page.clock.fast_forward(10_100)
    page.wait_for_selector("#freshness[data-link=lost]")
    assert page.inner_text("#freshness") == "connection lost, this page is old"
