"""Which language a page speaks, and how it writes numbers and dates."""

from __future__ import annotations

from datetime import date

import pytest

from swarfline.serve.page import words
from swarfline.serve.tongue import gettext, negotiate, ngettext, speaking


@pytest.mark.parametrize(
    ("asked", "kept", "accepted", "wanted"),
    [
        (None, None, "", "en"),
        (None, None, "de", "de"),
        (None, None, "de-AT,de;q=0.8", "de"),
        (None, None, "en;q=0.5, de;q=0.9", "de"),  # RFC 9110, 12.4.2: the higher weight is preferred
        (None, None, "de;q=0, en", "en"),  # weight 0: not acceptable
        (None, None, "xx, yy;q=a, *", "en"),
        (None, "de", "en", "de"),
        ("en", "de", "de", "en"),
        ("tlh", None, "de", "de"),
    ],
)
def test_asked_goes_before_kept_before_what_the_browser_prefers(asked, kept, accepted, wanted):
    assert negotiate(asked, kept, accepted) == wanted


def test_numbers_and_dates_follow_the_language():
    assert words.number(1234.56, 1) == "1\u202f234.6"
    assert words.day(date(2026, 3, 10)) == "Tue 10 Mar 2026"
    with speaking("de"):
        assert words.number(1234.56, 1) == "1\u202f234,6"  # ISO 80000-1: comma or point, thin space
        assert "März" in words.day(date(2026, 3, 10)) and words.day(date(2026, 3, 10)).startswith("Di")
    assert words.number(0.5, 1) == "0.5"


def test_a_text_without_translation_stays_english():
    with speaking("de"):
        assert gettext("No catalogue has this text") == "No catalogue has this text"
        assert ngettext("one thing that no catalogue has", "many", 2) == "many"


def test_a_page_says_its_language_and_keeps_the_choice(client):
    told = client.get("/", headers={"accept-language": "de"})
    assert 'lang="de"' in told.text[:200]
    assert told.headers["content-language"] == "de"
    assert "Accept-Language" in told.headers["vary"]
    assert "set-cookie" not in told.headers
    chosen = client.get("/?lang=de")
    assert "language=de" in chosen.headers["set-cookie"]
    kept = client.get("/", headers={"cookie": "language=de"})
    assert 'lang="de"' in kept.text[:200]
    assert 'lang="en"' in client.get("/", headers={"cookie": "language=;;=;\x01"}).text[:200]


def test_the_other_language_shows_the_same_page(client):
    text = client.get("/machines/S1?day=2026-03-10&lang=de").text
    assert 'href="?day=2026-03-10&amp;lang=en"' in text
