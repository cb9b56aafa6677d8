"""Delivery from the outbox to real receivers that fail, hang, refuse and come back; processes that are killed."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import pytest
from watch.channels.receivers import Mailbox, cut, hang, mail_server, receiving, with_headers

from collect.line import plant_of
from swarfline.alerts import Alert
from swarfline.collect.delivering import KEPT_US, Delivering
from swarfline.collect.telling import Telling
from swarfline.messages import GIVEN_UP, IN_ANOTHER, REFUSED, SENT, WAITING, Attachment, Message
from swarfline.store import Batch, Store
from swarfline.watch.deliver import Pace

QUICK = Pace(0.02, 0.1)
LEAST_REST_S = 0.05
"""Half of the longest wait between attempts: the shortest that its chance can make of it."""
PATIENCE_S = 60.0
"""Ends a test that would hang; judges no speed."""
DAY_US = 86_400_000_000


def now_us():
    return time.time_ns() // 1000


def message(number, channel="shop", **change):
    return replace(
        Message(
            channel,
            f"raised-{number}",
            f"Works: warning: {number}",
            "text",
            now_us(),
            data={"severity": "warning"},
        ),
        **change,
    )


def wait_for(true):
    until = time.monotonic() + PATIENCE_S
    while not true():
        assert time.monotonic() < until
        time.sleep(0.01)


class Works:
    """A plant with channels, its store, and delivery that looks often."""

    def __init__(self, folder: Path, *channels: dict, shift_us: int = 0) -> None:
        self.store = Store.open("sqlite:///test.db", folder / "plant.toml")
        self.plant = plant_of(folder, "N1", "N2", channels=[{"timeout_s": 10, **channel} for channel in channels])
        self.shift_us = shift_us
        self.delivering = Delivering(self.plant, self.store, self.now_us, QUICK, 0.02, 0.02)

    def now_us(self) -> int:
        return now_us() + self.shift_us

    def __enter__(self):
        self.delivering.start()
        return self

    def __exit__(self, *_):
        self.delivering.stop()
        self.store.close()

    def states(self):
        return {one.message.key: one.state for one in self.store.outbox.told(2000)}

    def settled(self, *keys):
        """Wait until these are settled; their rows by key."""
        until = time.monotonic() + PATIENCE_S
        while True:
            rows = {one.message.key: one for one in self.store.outbox.told(2000)}
            if all(key in rows and rows[key].state != WAITING for key in keys):
                return rows
            assert time.monotonic() < until, rows
            time.sleep(0.01)


@pytest.fixture
def receiver():
    with receiving() as server:
        yield server


def shop(receiver, **keys):
    return {"id": "shop", "webhook": {"url": receiver.url}, **keys}


def test_sent_once_where_nothing_goes_wrong(receiver, tmp_path):
    with Works(tmp_path, shop(receiver)) as works:
        works.store.outbox.add([message(1), message(2)])
        rows = works.settled("raised-1", "raised-2")
        time.sleep(0.1)
    assert receiver.keys == ["raised-1", "raised-2"]
    assert {(one.state, one.attempts, one.problem) for one in rows.values()} == {(SENT, 1, "")}


def test_a_receiver_that_fails_in_every_way_and_comes_back(receiver, tmp_path):
    receiver.answers = [500, hang, cut, with_headers(429, Retry_After="0"), 302]
    # well below what the one that hangs takes, well above what a quick answer takes on a busy machine
    with Works(tmp_path, shop(receiver, timeout_s=1.5)) as works:
        works.store.outbox.add([message(1)])
        rows = works.settled("raised-1")
    assert receiver.keys == ["raised-1"] * 6
    assert len({post.body for post in receiver.posts}) == 1
    assert {post.headers["webhook-id"] for post in receiver.posts} == {"raised-1"}
    assert (rows["raised-1"].state, rows["raised-1"].attempts) == (SENT, 6)


def test_a_receiver_that_was_away(tmp_path, free_port):
    channel = {"id": "shop", "webhook": {"url": f"http://127.0.0.1:{free_port}/"}}
    with Works(tmp_path, channel) as works:
        works.store.outbox.add([message(1), message(2)])
        wait_for(lambda: works.store.outbox.told(9)[-1].problem)
        (_, first) = works.store.outbox.told(9)
        assert first.problem == "127.0.0.1: Connection refused"
        with receiving(free_port) as receiver:
            works.settled("raised-1", "raised-2")
    assert set(receiver.keys) == {"raised-1", "raised-2"}


def test_while_a_receiver_is_away_it_is_not_asked_for_each_message(receiver, tmp_path):
    receiver.otherwise = 503
    with Works(tmp_path, shop(receiver, most_at_once=1000)) as works:
        begun_s = time.monotonic()
        works.store.outbox.add([message(n) for n in range(200)])
        wait_for(lambda: len(receiver.posts) >= 8)
    # three more while the wait grows, and one under way; 200 at once would be each message
    assert len(receiver.posts) <= 4 + (time.monotonic() - begun_s) / LEAST_REST_S


def test_a_message_that_the_receiver_never_manages_holds_up_no_other(receiver, tmp_path):
    def choke(post):
        post.say(500 if receiver.posts[-1].told["id"] == "raised-0" else 204)

    receiver.otherwise = choke
    with Works(tmp_path, shop(receiver, most_at_once=1000)) as works:
        works.store.outbox.add([message(n) for n in range(20)])
        works.settled(*(f"raised-{n}" for n in range(1, 20)))
        assert works.states()["raised-0"] == WAITING
    assert receiver.keys.count("raised-0") <= 2


def test_a_refusal_for_good_is_kept_and_told(receiver, tmp_path, caplog):
    receiver.answers = [410]
    with Works(tmp_path, shop(receiver)) as works:
        works.store.outbox.add([message(1), message(2)])
        rows = works.settled("raised-1", "raised-2")
    assert (rows["raised-1"].state, rows["raised-1"].attempts) == (REFUSED, 1)
    assert rows["raised-1"].problem == "127.0.0.1 answers 410 Gone"
    assert "channel shop: message 1 is refused for good: 127.0.0.1 answers 410 Gone" in caplog.text
    assert rows["raised-2"].state == SENT


def test_what_is_too_old_is_tried_once_more_and_then_given_up(receiver, tmp_path, caplog):
    receiver.otherwise = 500
    with Works(tmp_path, shop(receiver, give_up_after_h=1)) as works:
        works.store.outbox.add([message(1, created_us=now_us() - 2 * 3_600_000_000)])
        rows = works.settled("raised-1")
    assert (rows["raised-1"].state, rows["raised-1"].attempts) == (GIVEN_UP, 1)
    assert "message 1 is given up after 1 attempts: 127.0.0.1 answers 500" in caplog.text


def test_messages_for_a_channel_that_is_gone_are_told_and_end(receiver, tmp_path, caplog):
    with Works(tmp_path, shop(receiver)) as works:
        works.store.outbox.add([message(1, "office")])
        rows = works.settled("raised-1")
    assert rows["raised-1"].state == GIVEN_UP
    assert "message 1 waits for channel office, which the plant file has not" in caplog.text


def test_a_channel_that_hangs_holds_up_no_other(receiver, tmp_path):
    with receiving() as slow:
        slow.otherwise = hang
        office = {"id": "office", "webhook": {"url": slow.url}, "timeout_s": 5}
        with Works(tmp_path, office, shop(receiver)) as works:
            works.store.outbox.add([message(1, "office"), message(2)])
            works.settled("raised-2")
            assert works.states() == {"raised-1": WAITING, "raised-2": SENT}


def test_a_storm_of_1000_alerts_is_one_message(receiver, tmp_path):
    with Works(tmp_path, shop(receiver)) as works:
        works.store.outbox.add([message(n) for n in range(1000)])
        rows = works.settled(*(f"raised-{n}" for n in range(1000)))
        whole = next(key for key in rows if key.startswith("joined-"))
        rows = works.settled(whole)
    assert len(receiver.posts) == 1
    assert receiver.posts[0].told["data"]["count"] == 1000
    assert {one.state for key, one in rows.items() if key != whole} == {IN_ANOTHER}
    assert {one.inside for key, one in rows.items() if key != whole} == {rows[whole].number}


def test_what_came_in_quiet_hours_is_told_together_at_their_end(receiver, tmp_path):
    later = now_us() + DAY_US
    with Works(tmp_path, shop(receiver)) as works:
        works.store.outbox.add([message(n, not_before_us=later) for n in range(3)])
        works.store.outbox.add([message(9)])
        works.settled("raised-9")
        assert len(receiver.posts) == 1
        works.shift_us = DAY_US
        works.settled("raised-0", "raised-1", "raised-2")
        works.settled(works.store.outbox.told(1)[0].message.key)
    assert [post.told["data"].get("count") for post in receiver.posts] == [None, 3]


def test_old_messages_are_forgotten(receiver, tmp_path):
    with Works(tmp_path, shop(receiver)) as works:
        works.store.outbox.add([message(1)])
        works.settled("raised-1")
        works.shift_us = KEPT_US + 1_000_000
        wait_for(lambda: not works.states())


def test_mail_with_a_report(tmp_path):
    box = Mailbox()
    with mail_server(box) as port:
        keys = {"host": "127.0.0.1", "port": port, "encryption": "none", "sender": "a@works.example"}
        channel = {"id": "shop", "mail": {**keys, "recipients": ["b@works.example"]}, "timeout_s": 5}
        report = message(1, kind="report", attachments=(Attachment("week.pdf", "application/pdf", b"%PDF-1.7"),))
        with Works(tmp_path, channel) as works:
            works.store.outbox.add([report])
            assert works.settled("raised-1")["raised-1"].state == SENT
    assert b'filename="week.pdf"' in box.mails[0]


ALERT = Alert("tool_near_limit", "N1", "1/7", "warning", "Tool 7: 95 of 100", 10)


def test_an_alert_that_nobody_acknowledges_is_told_to_the_next_channel_once(receiver, tmp_path):
    chief = {"id": "chief", "webhook": {"url": receiver.url}, "alerts": False}
    first = shop(receiver, escalate_to="chief", escalate_after_min=1)
    with Works(tmp_path, first, chief) as works:
        at_us = now_us() - 61_000_000
        alert = replace(ALERT, raised_us=at_us)
        batch = Telling(works.plant, works.now_us).with_messages(Batch(raised=[alert]), [], at_us)
        works.store.writer().commit(batch)
        wait_for(lambda: len(states := works.states()) >= 2 and WAITING not in states.values())
        time.sleep(0.2)
    told = [(post.told["data"]["event"], post.told["data"]["machine"]) for post in receiver.posts]
    assert sorted(told) == [("escalated", "N1"), ("raised", "N1")]


def test_places_are_the_machines_of_a_channel_and_their_server(receiver, tmp_path):
    works = Works(tmp_path, shop(receiver, machines=["N2"]))
    telling = Telling(works.plant, works.now_us)
    places = [("N1", "1/7"), ("N2", "1/7"), ("", "server/line"), ("", "server/other"), ("", "plant")]
    raised = [replace(ALERT, machine=machine, subject=subject) for machine, subject in places]
    batch = telling.with_messages(Batch(raised=raised), [], 10)
    told = [(one.data["machine"], one.data["subject"]) for one in batch.messages]
    assert told == [("N2", "1/7"), (None, "server/line"), (None, "plant")]
    assert telling.with_messages(None, [], 10) is None
    works.store.close()


SENDER = """
import sys, time
from pathlib import Path
from swarfline import clock
from swarfline.collect.delivering import Delivering
from swarfline.plant import load
from swarfline.store import Store
from swarfline.watch.deliver import Pace

plant = load(Path(sys.argv[1]))
store = Store.open(plant.store.url, Path(sys.argv[1]))
Delivering(plant, store, clock.now_us, Pace(0.02, 0.1), 0.02).start()
print("ready", flush=True)
time.sleep(60)
"""


def start(path):
    process = subprocess.Popen([sys.executable, "-c", SENDER, str(path)], stdout=subprocess.PIPE, text=True)
    assert process.stdout.readline() == "ready\n"
    return process


def test_killed_before_and_after_the_receiver_took_it(receiver, write_plant, small_plant):
    """kill -9 while the request is under way and while the answer is: each message is there at least once."""
    path = write_plant(
        f'{small_plant}[[channels]]\nid = "shop"\ntimeout_s = 0.2\nwebhook = {{ url = "{receiver.url}" }}\n'
    )
    store = Store.open("sqlite:///swarfline.db", path)
    store.outbox.add([message(n) for n in range(6)])
    process = start(path)

    def kill(post):
        # the request has come whole, and is not answered
        os.kill(process.pid, signal.SIGKILL)
        process.wait()

    def take_and_kill(post):
        post.say(204)
        post.wfile.flush()
        kill(post)

    receiver.answers = [204, kill]
    for more in ([204, cut, take_and_kill], None):
        process.wait(PATIENCE_S)
        process.stdout.close()
        assert process.returncode == -signal.SIGKILL
        if more:
            receiver.answers = more
        process = start(path)
    wait_for(lambda: all(one.state == SENT for one in store.outbox.told(9)))
    process.kill()
    process.wait()
    process.stdout.close()
    store.close()
    assert set(receiver.keys) == {f"raised-{n}" for n in range(6)}
    assert len(receiver.keys) > 6
    same = {(post.told["id"], post.body) for post in receiver.posts}
    assert len(same) == 6
