"""Writing is refused to pages of other origins, under other names, and for what is no small piece of JSON."""

from __future__ import annotations

import asyncio

import pytest

from swarfline.plant import load
from swarfline.serve import create_app
from swarfline.serve.guard import LARGEST
from swarfline.store import Store

from .client import Client
from .works import NOW, PLANT, fill

PATH = "/api/v1/machines/S1/stop-reasons"
BODY = b'{"who": "Ana", "reason": "No orders", "stop": "2026-03-10T07:00:00+01:00"}'
OURS = {"host": "127.0.0.1:8750", "content-type": "application/json"}
LISTEN = 'listen = { host = "127.0.0.5", origins = ["https://swarf.example", "http://10.0.0.7:8080"] }\n'


@pytest.fixture(scope="module")
def proxied(tmp_path_factory: pytest.TempPathFactory):
    """A plant whose pages a proxy shows."""
    folder = tmp_path_factory.mktemp("proxied")
    path = folder / "plant.toml"
    path.write_text(LISTEN + PLANT, encoding="utf-8")
    store = Store.open(f"sqlite:///{folder / 'works.db'}")
    fill(store)
    yield Client(create_app(load(path), store, clock_us=lambda: NOW))
    store.close()


def post(client, headers, body=BODY):
    wanted = {name: value for name, value in {**OURS, **headers}.items() if value is not None}
    return client.post(PATH, content=body, headers=wanted)


@pytest.mark.parametrize(
    "headers",
    [
        {},
        {"host": "localhost:8750"},
        {"host": "LOCALHOST"},
        {"host": "[::1]:8750"},
        {"origin": "http://127.0.0.1:8750", "sec-fetch-site": "same-origin"},
        {"content-type": "application/json; charset=utf-8"},
        {"sec-fetch-site": "none"},
    ],
)
def test_programs_and_our_own_pages_may_write(writing, headers):
    assert post(writing, headers).status_code == 201


REFUSED = (
    ({"host": "plant.example:8750"}, 403),
    ({"host": "127.0.0.1.plant.example"}, 403),
    ({"host": "10.0.0.7:8750"}, 403),
    ({"host": "[::1"}, 403),
    ({"host": ""}, 403),
    # a page elsewhere that took our address for its own name: its origin is even the same
    ({"host": "evil.example:8750", "origin": "http://evil.example:8750", "sec-fetch-site": "same-origin"}, 403),
    ({"origin": "http://evil.example"}, 403),
    ({"origin": "http://127.0.0.1:9000"}, 403),
    ({"origin": "http://127.0.0.1"}, 403),
    ({"origin": "http://localhost:8750"}, 403),
    ({"origin": "null"}, 403),
    ({"origin": ""}, 403),
    ({"sec-fetch-site": "cross-site"}, 403),
    ({"sec-fetch-site": "same-site"}, 403),
    ({"content-type": None}, 415),
    ({"content-type": "text/plain"}, 415),
    ({"content-type": "application/x-www-form-urlencoded"}, 415),
)


@pytest.mark.parametrize(("headers", "status"), REFUSED)
def test_others_may_not(refusing, headers, status):
    answer = post(refusing, headers)
    assert (answer.status_code, answer.headers["content-type"]) == (status, "application/problem+json")
    assert answer.json()["status"] == status
    assert "content-security-policy" in answer.headers
    assert refusing.told("stop-entries")["items"] == []


def test_two_names_at_once_are_none(refusing):
    sent = [("host", "127.0.0.1"), ("host", "evil.example"), ("content-type", "application/json")]
    assert refusing.post(PATH, content=BODY, headers=sent).status_code == 403


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({"host": "127.0.0.5:8750"}, 201),
        ({"host": "swarf.example", "origin": "https://swarf.example"}, 201),
        ({"origin": "https://swarf.example", "sec-fetch-site": "same-origin"}, 201),
        ({"origin": "http://10.0.0.7:8080"}, 201),
        ({"origin": "http://swarf.example:81"}, 403),
        ({"origin": "http://10.0.0.7"}, 403),
        ({"host": "evil.example", "origin": "https://swarf.example"}, 403),
    ],
)
def test_behind_a_proxy_the_pages_named_in_the_plant_file_may_write_too(proxied, headers, status):
    assert post(proxied, headers).status_code == status


def test_a_large_body_is_not_read(writing):
    padded = BODY + b" " * (LARGEST - len(BODY))
    assert post(writing, {}, padded).status_code == 201
    answer = post(writing, {}, padded + b" ")
    assert (answer.status_code, len(writing.told("stop-entries")["items"])) == (413, 1)


def test_a_body_without_an_end_is_given_up(refusing):
    taken = 0

    async def receive():
        nonlocal taken
        taken += 1
        return {"type": "http.request", "body": b" " * 1024, "more_body": True}

    sent = []

    async def send(message):
        sent.append(message)

    headers = [(name.encode(), value.encode()) for name, value in OURS.items()]
    scope = {
        "type": "http", "method": "POST", "path": PATH, "raw_path": PATH.encode(), "query_string": b"",
        "headers": headers, "scheme": "http", "server": ("127.0.0.1", 8750), "http_version": "1.1",
    }  # fmt: skip
    asyncio.run(refusing._app(scope, receive, send))
    assert (sent[0]["status"], taken) == (413, LARGEST // 1024 + 1)


@pytest.mark.parametrize("body", [b"", b"{", b"[]", b'"text"', b"\xff\xfe", b'{"who": "\\ud800"}', b"NaN"])
def test_what_is_no_entry_is_a_problem(refusing, body):
    answer = post(refusing, {}, body)
    assert (answer.status_code, answer.headers["content-type"]) == (422, "application/problem+json")


def test_reading_is_as_open_as_before(refusing):
    headers = {"host": "plant.example", "origin": "http://evil.example", "sec-fetch-site": "cross-site"}
    answer = refusing.get("/api/v1/stop-entries", headers=headers)
    assert answer.status_code == 200
    # a page elsewhere may send a request, but is not let read the answer, and is told so when it asks before
    assert "access-control-allow-origin" not in answer.headers
    asked = refusing.request("OPTIONS", PATH, headers={**headers, "access-control-request-method": "POST"})
    assert asked.status_code == 405 and "access-control-allow-methods" not in asked.headers


FORM = {"host": "127.0.0.1:8750", "content-type": "application/x-www-form-urlencoded"}


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({"origin": "http://127.0.0.1:8750"}, 404),  # let through: there is just no such page
        ({"sec-fetch-site": "same-origin"}, 404),
        ({}, 403),
        ({"origin": "null"}, 403),  # a page in a sandbox, or one that hides where it is
        ({"origin": "http://elsewhere.example"}, 403),
        ({"origin": "http://127.0.0.1:8750", "sec-fetch-site": "cross-site"}, 403),
        ({"origin": "http://127.0.0.1:8750", "content-type": "text/plain"}, 415),
        ({"origin": "http://127.0.0.1:8750", "content-type": "multipart/form-data; boundary=x"}, 415),
    ],
)
def test_pages_take_forms_of_our_own_pages_only(writing, headers, status):
    assert writing.post("/no-such-form", content=b"a=1", headers={**FORM, **headers}).status_code == status


def test_the_api_takes_no_forms(writing):
    assert post(writing, {**FORM, "origin": "http://127.0.0.1:8750"}, b"who=Ana").status_code == 415
