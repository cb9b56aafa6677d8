"""Notifications as API and page: the outbox, how each channel does, and no secret."""

from __future__ import annotations

import csv
import io
import re
from html import unescape

import pytest

from swarfline.messages import REFUSED, SENT, Message
from swarfline.plant import load
from swarfline.serve import create_app
from swarfline.store import Store

from .entering import Writer
from .works import NOW, PLANT, SECOND

CHANNELS = """
[[channels]]
id = "shop"
webhook = { url = "https://hook.example/token-4711", secret_env = "HOOK" }
[[channels]]
id = "office"
mail = { host = "mail.works.example", sender = "a@works.example", recipients = ["b@works.example"] }
"""


def message(channel: str, number: int, **change) -> Message:
    text = f"Irrigation works: warning: Tool {number} <b>"
    return Message(channel, f"raised-{number}", text, "text", NOW + number * SECOND, **change)


@pytest.fixture
def works(tmp_path):
    path = tmp_path / "plant.toml"
    path.write_text(PLANT + CHANNELS, encoding="utf-8")
    store = Store.open("sqlite:///works.db", path)
    store.outbox.add(
        [message("shop", 1), message("shop", 2), message("office", 3, not_before_us=NOW + 9 * SECOND)]
    )
    first, second = store.outbox.due("shop", NOW + 60 * SECOND, 9)
    store.outbox.begin(first, NOW + 5 * SECOND, NOW + 60 * SECOND)
    store.outbox.settle(first, REFUSED, NOW + 6 * SECOND, "hook.example answers 410 Gone")
    store.outbox.begin(second, NOW + 7 * SECOND, NOW + 60 * SECOND)
    store.outbox.settle(second, SENT, NOW + 8 * SECOND)
    made = Writer(create_app(load(path), store, clock_us=lambda: NOW + 60 * SECOND))
    made.store = store
    yield made
    store.close()


def test_the_outbox(works):
    office, sent, refused = works.told("notifications")["items"]
    assert (refused["number"], refused["state"], refused["attempts"]) == (1, "refused", 1)
    assert refused["problem"] == "hook.example answers 410 Gone"
    assert (refused["created"], refused["tried"], refused["settled"], refused["next_attempt"]) == (
        "2026-03-10T12:00:01+01:00", "2026-03-10T12:00:05+01:00", "2026-03-10T12:00:06+01:00", None,
    )  # fmt: skip
    assert (sent["state"], sent["problem"], sent["not_before"]) == ("sent", "", None)
    assert (office["state"], office["not_before"]) == ("waiting", "2026-03-10T12:00:09+01:00")
    assert office["next_attempt"] == office["not_before"]


@pytest.mark.parametrize(
    ("asked", "numbers"),
    [
        ({"channel": "shop"}, [2, 1]), ({"state": "waiting"}, [3]), ({"before": 3, "limit": 1}, [2]),
        ({"channel": "office", "state": "sent"}, []),
    ],
)  # fmt: skip
def test_a_part_of_it(works, asked, numbers):
    assert [row["number"] for row in works.told("notifications", **asked)["items"]] == numbers


@pytest.mark.parametrize(
    ("asked", "status"), [({"channel": "x"}, 404), ({"state": "x"}, 422), ({"colour": 1}, 422)]
)
def test_wrong_questions(works, asked, status):
    assert works.get("/api/v1/notifications", params=asked).status_code == status


def test_as_csv(works):
    table = list(csv.DictReader(io.StringIO(works.get("/api/v1/notifications.csv").text)))
    assert [row["number"] for row in table] == ["3", "2", "1"]


def test_the_page(works):
    page = works.get("/notifications", headers={"accept": "text/html"}).text
    assert "<h1>Notifications</h1>" in page
    assert "Tool 1 &lt;b&gt;" in page
    assert "hook.example answers 410 Gone" in page
    for secret in ("4711", "HOOK", "b@works.example"):
        assert secret not in page
    assert "not a safety function" in page


def test_the_page_of_a_plant_without_channels(client):
    page = client.get("/notifications", headers={"accept": "text/html"}).text
    assert "The plant file has no channels" in page and "docs/notifications.md" in page


def test_the_examples_of_a_channel_and_a_report_can_be_put_into_a_plant_file(client, write_example):
    def example(path):
        page = client.get(path, headers={"accept": "text/html"}).text
        (code,) = re.findall(r"<pre><code>(.*?)</code></pre>", page, re.S)
        return unescape(code)

    plant = write_example(f"{example('/notifications')}\n\n{example('/reports')}\n")
    assert [c.id for c in plant.channels] == ["office"] and plant.channels[0].mail is not None
    assert [(r.channel, r.span) for r in plant.reports] == [("office", "day")]
    assert "no mail channel yet" in client.get("/reports").text


@pytest.fixture
def write_example(tmp_path):
    def write(more):
        path = tmp_path / "plant.toml"
        path.write_text(f"{PLANT}\n{more}", encoding="utf-8")
        return load(path)

    return write


def test_messages_that_wait_too_long_are_told_of_where_people_look(works):
    # one for the office could have gone 51 s ago: not late yet
    for path in ("/", "/alerts"):
        assert "could not be delivered" not in works.get(path).text
    works.store.outbox.add(
        [message("shop", -400), message("shop", -900), message("shop", -800, not_before_us=NOW)]
    )
    for path in ("/", "/alerts"):
        page = works.get(path).text
        assert '<a href="/notifications">2 messages could not be delivered yet, the first since 11:45.</a>' in page
