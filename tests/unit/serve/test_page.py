"""The pages as HTML: complete without scripts, strict headers, assets that may be kept for ever."""

from __future__ import annotations

import gzip
import re
from html.parser import HTMLParser

import pytest

from swarfline.facts import CONDITIONS

PAGES = (
    *("/", "/alerts", "/alerts/1", "/machines/N1", "/machines/S1", "/machines/N1?day=2026-03-09"),
    *("/connections", "/api"),
)
VOID = {"meta", "link", "br", "img", "input", "hr", "path", "use"}


class Reader(HTMLParser):
    """Collects tags and checks that they are closed in order."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self._open: list[str] = []
        self.feed(text)
        assert not self._open, self._open

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self._open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        assert self._open and self._open[-1] == tag, (tag, self._open[-3:])
        self._open.pop()


def page(client, path):
    answer = client.get(path, headers={"accept": "text/html"})
    assert answer.status_code == 200, answer.text
    return answer.text


@pytest.mark.parametrize("path", PAGES)
def test_structure(client, path):
    tags = Reader(page(client, path)).tags
    names = [tag for tag, _ in tags]
    ids = [attrs["id"] for _, attrs in tags if "id" in attrs]
    assert names.count("h1") == 1 and names.count("main") == 1
    # shapes of a drawing have titles of their own
    assert names[: names.index("body")].count("title") == 1
    assert len(ids) == len(set(ids))
    assert dict(tags)["html"]["lang"] == "en"
    assert names.count("table") == names.count("caption")
    assert all("scope" in attrs for tag, attrs in tags if tag == "th")
    labels = [attrs["aria-labelledby"] for _, attrs in tags if "aria-labelledby" in attrs]
    assert set(labels) <= set(ids)


@pytest.mark.parametrize("path", PAGES)
def test_nothing_inline_and_nothing_from_elsewhere(client, path):
    for tag, attrs in Reader(page(client, path)).tags:
        assert tag != "style" and "style" not in attrs
        assert not [name for name in attrs if name.startswith("on")]
        assert tag != "script" or attrs.get("src")
        for name in ("src", "href"):
            assert not re.match(r"(https?:)?//", attrs.get(name) or "")


def test_the_plant_now(client):
    text = re.sub("<[^>]*>", "", page(client, "/"))
    for expected in ("North cell", "South one", "110", "of 128 due", "T7 Face mill 50", "5 cycles", "80.2 %"):
        assert expected in text, expected
    assert "Tool 7 (Face mill 50): 95 of 100 uses used" in text
    assert 'role="status"' in page(client, "/")


def test_a_machines_day(client):
    text = page(client, "/machines/N1")
    for expected in ("Door switch", "170.0 s", "95 of 100", "warning level reached", "24.00 kWh", "30 min"):
        assert expected in text, expected
    assert 'href="/machines/N1?span=day&amp;at=2026-03-09' in text and 'rel="next"' not in text
    yesterday = page(client, "/machines/N1?day=2026-03-09")
    assert (
        'rel="next" href="/machines/N1?span=day&amp;at=2026-03-10' in yesterday
        and "Never observed on this day." in yesterday
    )


def test_every_condition_is_explained(client):
    text = page(client, "/")
    assert all(f'href="#mark-{c}"' in text and f'id="mark-{c}"' in text for c in CONDITIONS)


@pytest.mark.parametrize(
    ("path", "status", "text"),
    [
        ("/machines/N9", 404, "There is no machine"),
        ("/machines/N1?day=2026-03-11", 422, "has not begun"),
        ("/machines/N1?day=soon", 422, "YYYY-MM-DD"),
        ("/nowhere", 404, "There is nothing at"),
    ],
)
@pytest.mark.parametrize("accept", ["text/html,*/*;q=0.8", "*/*", "text/html, application/json;q=0.5"])
def test_errors_are_pages_for_people(client, path, status, text, accept):
    answer = client.get(path, headers={"accept": accept})
    assert answer.status_code == status and text in answer.text
    assert answer.headers["content-type"].startswith("text/html")
    assert '<a href="/">To the plant now</a>' in answer.text


@pytest.mark.parametrize("accept", ["application/json", "application/problem+json"])
def test_programs_may_ask_a_page_for_a_problem_document(client, accept):
    answer = client.get("/machines/N9", headers={"accept": accept})
    assert answer.status_code == 404 and answer.headers["content-type"] == "application/problem+json"


@pytest.mark.parametrize("accept", ["text/html", "*/*"])
def test_the_api_keeps_its_problem_document(client, accept):
    answer = client.get("/api/v1/machines/N9", headers={"accept": accept})
    assert answer.status_code == 404 and answer.headers["content-type"] == "application/problem+json"


def test_what_machines_say_is_text(app, client, monkeypatch):
    from swarfline.alerts import Alert

    bad = Alert("r", "N1", "s", "warning", "<script>alert(1)</script>", 0)
    monkeypatch.setattr(app.state.room.queries, "alerts", lambda **_: [bad])
    text = page(client, "/")
    assert "<script>alert" not in text and "&lt;script&gt;" in text


@pytest.mark.parametrize("path", [*PAGES, "/api/v1/plant", "/api/v1/nothing", "/health/live", "/nowhere"])
def test_headers_on_every_answer(client, path):
    headers = client.get(path).headers
    policy = headers["content-security-policy"]
    assert policy.startswith("default-src 'none'; script-src 'self'; ") and "unsafe" not in policy
    assert headers["x-content-type-options"] == "nosniff" and headers["referrer-policy"] == "same-origin"
    assert headers["cache-control"] in ("no-cache", "no-store")


def test_assets_may_be_kept_for_ever(client):
    urls = set(re.findall(r'(?:src|href)="(/assets/[^"]+)"', page(client, "/machines/N1")))
    assert len({u.split("/")[2] for u in urls}) == 1 and len(urls) >= 5
    for url in urls:
        answer = client.get(url, headers={"accept-encoding": "gzip"})
        assert answer.status_code == 200 and "immutable" in answer.headers["cache-control"]
        assert answer.headers["content-encoding"] == "gzip" and answer.headers["vary"] == "Accept-Encoding"
        plain = client.get(url, headers={"accept-encoding": "identity"})
        assert plain.content == answer.content and "content-encoding" not in plain.headers


@pytest.mark.parametrize("url", ["/assets/000000000000/page.css", "/assets/x/../../app.py"])
def test_other_addresses_hold_nothing(client, url):
    assert client.get(url).status_code == 404


def test_compression_is_the_same_each_time(app):
    from swarfline.serve.page.assets import AssetSet

    files = {"a.js": b"x" * 999}
    first, again = AssetSet(files), AssetSet(files)
    assert first.hash == again.hash != AssetSet({"a.js": b"y"}).hash
    assert gzip.decompress(first.answer("a.js", True).body) == files["a.js"]


def test_time_that_nothing_tells_of_is_unobserved_not_missing(client):
    """N1 is first heard of at 06:00; the table agrees with the ribbon beside it, which leaves the night open."""
    text = page(client, "/machines/N1")
    table = text[text.index("Time by condition") :]
    row = table[table.index("unobserved") :]
    cells = re.findall(r'<td class="n">([^<]*)</td>', row[: row.index("</tr>")])
    assert cells == ["0 s", "6 h 00 min", "50.0 %"]
