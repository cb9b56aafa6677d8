"""Conditional requests. Cases: RFC 9110 sections 8.8.3.2, 13.1.1, 13.1.2, 13.2.2 and 15.4.5."""

from __future__ import annotations

import pytest

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
