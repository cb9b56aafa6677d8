"""Conditional requests and gzip. Cases: RFC 9110 sections 8.8.3, 12.5.3, 13.1.1, 13.1.2, 13.2.2 and 15.4.5."""

from __future__ import annotations

import gzip

import pytest

from swarfline.serve.coding import LARGE, gzipped_aside, takes_gzip
from swarfline.serve.conditional import strong_match, verdict, weak_match

COMPARISONS = (
    ('W/"1"', 'W/"1"', False, True),
    ('W/"1"', 'W/"2"', False, False),
    ('W/"1"', '"1"', False, True),
    ('"1"', '"1"', True, True),
)
CASES = (
    ("GET", '"abc"', None, '"abc"', 304),
    ("GET", '"abc"', None, 'W/"abc"', 304),
    ("GET", 'W/"abc"', None, '"abc"', 304),
    ("GET", '"abc"', None, '"x", "abc"', 304),
    ("GET", '"abc"', None, '"x"', None),
    ("HEAD", '"abc"', None, "*", 304),
    ("PUT", '"abc"', None, "*", 412),
    ("PUT", None, None, "*", None),
    ("PUT", '"abc"', '"abc"', None, None),
    ("PUT", '"abc"', '"old"', None, 412),
    ("PUT", 'W/"abc"', 'W/"abc"', None, 412),
    ("PUT", None, "*", None, 412),
    ("DELETE", '"abc"', "*", None, None),
    ("GET", '"abc"', '"abc"', '"abc"', 304),
    ("GET", '"abc"', '"zzz"', '"abc"', 412),
    ("PATCH", '"abc"', None, '"abc"', 412),
)


@pytest.mark.parametrize(("left", "right", "strong", "weak"), COMPARISONS)
def test_comparison(left, right, strong, weak):
    assert (strong_match(left, right), weak_match(left, right)) == (strong, weak)


@pytest.mark.parametrize(("method", "tag", "if_match", "if_none_match", "status"), CASES)
def test_verdict(method, tag, if_match, if_none_match, status):
    assert verdict(method, tag, if_match, if_none_match) == status


PATH = "/api/v1/oee?from=2026-03-10T06:00:00Z&to=2026-03-10T07:00:00Z"


def test_what_is_known_is_not_sent_again(client):
    first = client.get(PATH)
    again = client.get(PATH, headers={"if-none-match": first.headers["etag"]})
    assert first.status_code == 200 and first.headers["cache-control"] == "no-cache"
    assert (again.status_code, again.content, again.headers["etag"]) == (304, b"", first.headers["etag"])


def test_another_span_has_another_tag(client):
    other = PATH.replace("T07", "T08")
    assert client.get(PATH).headers["etag"] != client.get(other).headers["etag"]


def test_a_precondition_that_fails(client):
    assert client.get(PATH, headers={"if-match": '"other"'}).status_code == 412


@pytest.mark.parametrize("path", [PATH, "/", "/health/live"])
def test_head_is_get_without_the_body(client, path):
    head, whole = client.head(path), client.get(path)
    assert (head.status_code, head.content) == (200, b"")
    assert head.headers["content-length"] == whole.headers["content-length"]


def test_errors_carry_no_tag(client):
    assert "etag" not in client.get("/api/v1/machines/none").headers


ACCEPTED = (
    (None, False), ("", False), ("identity", False), ("gzip", True), ("GZIP", True), ("deflate, gzip, br", True),
    ("gzip;q=0", False), ("gzip; q=0.000, *", False), ("gzip;q=0.5", True), ("*", True), ("*;q=0", False),
    ("x-gzip", True), ("gzipped", False), ("gzip;q=much", False),
)  # fmt: skip


@pytest.mark.parametrize(("header", "taken"), ACCEPTED)
def test_who_takes_gzip(header, taken):
    assert takes_gzip(header) == taken


@pytest.mark.parametrize("path", [PATH, "/", "/production?span=day"])
def test_compressed_for_whoever_takes_it(client, path):
    plain = client.get(path, headers={"accept-encoding": "identity"})
    zipped = client.get(path, headers={"accept-encoding": "gzip"})
    assert "content-encoding" not in plain.headers and zipped.headers["content-encoding"] == "gzip"
    assert int(zipped.headers["content-length"]) < int(plain.headers["content-length"]) / 2
    assert "Accept-Encoding" in plain.headers["vary"] and "Accept-Encoding" in zipped.headers["vary"]
    assert zipped.content == plain.content
    assert zipped.headers["etag"] != plain.headers["etag"]


@pytest.mark.parametrize("coding", ["gzip", "identity"])
def test_a_page_that_is_the_same_is_not_sent_again(client, coding):
    path = "/production?from=2026-03-10T06:00:00Z&to=2026-03-10T07:00:00Z"
    first = client.get(path, headers={"accept-encoding": coding})
    again = client.get(path, headers={"accept-encoding": coding, "if-none-match": first.headers["etag"]})
    assert (again.status_code, again.content) == (304, b"")
    assert "content-encoding" not in again.headers and again.headers["content-security-policy"]


def test_what_nobody_may_keep_has_no_tag(client):
    path = "/machines/N1/timeline?from=2026-03-10T06:00:00Z&to=2026-03-10T07:00:00Z"
    answer = client.get(path, headers={"accept-encoding": "gzip"})
    assert answer.headers["cache-control"] == "no-store" and "etag" not in answer.headers
    assert answer.headers["content-encoding"] == "gzip"


async def test_large_answers_are_compressed_the_same():
    body = bytes(range(256)) * (LARGE // 256 + 1)
    assert gzip.decompress(await gzipped_aside(body)) == body
