"""The service is killed (kill -9) while it raises alerts and tells them: what it raised, it has told."""

from __future__ import annotations

import json
import random
from collections.abc import Iterator

import pytest

from unit.watch.channels.receivers import Receiver, receiving

from .api import Row, us_of
from .waiting import until

pytestmark = pytest.mark.system

CHANNEL = """
[[channels]]
id = "hook"
timeout_s = 1
webhook = { url = "%s" }
"""


def told(receiver: Receiver) -> Iterator[Row]:
    """What was taken, of joined messages each part."""
    for post in list(receiver.posts):
        data = json.loads(post.body)["data"]
        yield from data.get("messages", [data])


def events(receiver: Receiver) -> set[tuple[str, str, str | None, str, int]]:
    """(event, rule, machine, subject, first raised)"""
    found = told(receiver)
    return {(d["event"], d["rule"], d["machine"], d["subject"], us_of(d["raised"]) // 1000) for d in found}


def wanted(alerts: list[Row]) -> set[tuple[str, str, str | None, str, int]]:
    """What has to be told of these alerts."""
    rows = [(a["rule"], a["machine"], a["subject"], a["raised_us"] // 1000) for a in alerts]
    over = [row for row, alert in zip(rows, alerts, strict=True) if alert["cleared"] is not None]
    return {("raised", *row) for row in rows} | {("cleared", *row) for row in over}


def test_killed_while_it_tells_nothing_is_lost(works, pause):
    with receiving() as receiver:
        with works.plant_file.open("a", encoding="utf-8") as file:
            file.write(CHANNEL % receiver.url)
        simulator = works.start_simulator()
        simulator.ready()
        service = works.start_service()
        # the first ones are refused, so that some wait; then some are told and some are not yet
        receiver.answers = [503, 503]
        until("the first attempt", lambda: receiver.posts)
        pause(random.uniform(0, 0.5))
        service.kill()
        assert service.text.count("Traceback") == 0
        service = works.start_service()
        alerts = service.api.rows("/alerts")
        assert alerts
        until("everything that was raised is told", lambda: wanted(alerts) <= events(receiver))
        rows = service.api.rows("/notifications", channel="hook")
        assert {row["state"] for row in rows} <= {"sent", "waiting", "in_another"}
        keys = {row["key"] for row in rows}
        assert {post.told["id"] for post in receiver.posts} <= keys
        assert service.end() == 0
        assert simulator.end() == 0
