"""What goes together, how long to wait, and how many messages become one."""

from __future__ import annotations

from dataclasses import replace

import pytest

from swarfline.messages import Delivery, Message
from swarfline.watch.deliver import BURST_US, LONGEST_LATER_S, Pace, joined, plan, trial
from swarfline.watch.notices import CAUTION

ONE = Message(
    "shop", "raised-1", "Works: warning: Tool 7", "Tool 7: 95 of 100", 10,
    data={"event": "raised", "severity": "warning", "raised": "2026-03-10T12:00:00.000+01:00", "cleared": None},
)  # fmt: skip


def waiting(count, first=1, attempts=0, **change):
    return [
        Delivery(number, replace(ONE, key=f"raised-{number}", **change), attempts=attempts)
        for number in range(first, first + count)
    ]


def planned(due, sent_lately=0, most=10, joined_lately=False):
    found = plan(due, sent_lately, most, joined_lately)
    return len(found.join), len(found.attempt)


@pytest.mark.parametrize(
    ("due", "asked", "expected"),
    [
        (waiting(1), {}, (0, 1)),
        (waiting(10), {}, (0, 10)),
        (waiting(11), {}, (11, 0)),
        (waiting(1000), {}, (1000, 0)),
        (waiting(3), {"sent_lately": 8}, (3, 0)),
        (waiting(1), {"sent_lately": 10}, (0, 1)),
        (waiting(2), {"sent_lately": 99}, (2, 0)),
        (waiting(50), {"sent_lately": 10, "joined_lately": True}, (0, 0)),
        # what was attempted goes on as it was, files and tests are no alerts
        (waiting(50, attempts=1), {}, (0, 50)),
        (waiting(50, kind="report"), {}, (0, 50)),
        (waiting(1, kind="joined"), {"sent_lately": 10, "joined_lately": True}, (0, 1)),
        # what had to wait is told together
        (waiting(2, not_before_us=20), {}, (2, 0)),
        (waiting(1, not_before_us=20), {}, (0, 1)),
        (waiting(2, not_before_us=20) + waiting(2, 5), {}, (2, 2)),
    ],
)
def test_what_goes_together(due, asked, expected):
    assert planned(due, **asked) == expected


def test_a_storm_of_1000_alerts_is_a_few_messages():
    told, sent = 0, []
    # one new alert each 0.6 s for ten minutes, looked at every second
    queued, now_us, joined_us = [], 0, None
    for second in range(601):
        now_us = second * 1_000_000
        queued += waiting(int(second * 1000 / 600) - told, first=told)
        told = int(second * 1000 / 600)
        lately = sum(1 for us in sent if us >= now_us - BURST_US)
        found = plan(queued, lately, 10, joined_us is not None and now_us - joined_us < 60_000_000)
        if found.join:
            joined_us, sent = now_us, [*sent, now_us]
        sent += [now_us] * len(found.attempt)
        gone = {one.number for one in (*found.join, *found.attempt)}
        queued = [one for one in queued if one.number not in gone]
    assert told == 1000
    assert 10 <= len(sent) <= 22
    assert len(queued) <= 101


def test_many_messages_as_one():
    urgent = replace(ONE, key="raised-9", subject="Works: urgent: Tool 9", data={**ONE.data, "severity": "urgent"})
    parts = [*waiting(2), Delivery(9, urgent)]
    whole = joined(parts, "Works", 99)
    assert (whole.channel, whole.kind, whole.created_us) == ("shop", "joined", 99)
    assert whole.subject == "Works: 3 messages about alerts (1 urgent, 2 warning)"
    assert whole.text.splitlines()[2:5] == [
        "- 2026-03-10 12:00:00  urgent: Tool 9",
        "- 2026-03-10 12:00:00  warning: Tool 7",
        "- 2026-03-10 12:00:00  warning: Tool 7",
    ]
    assert CAUTION in whole.text
    assert [one["key"] for one in whole.data["messages"]] == ["raised-9", "raised-1", "raised-2"]
    assert joined(parts, "Works", 100).key == whole.key != joined(parts[1:], "Works", 99).key


def test_a_thousand_messages_as_one_can_still_be_read():
    whole = joined(waiting(1000), "Works", 99)
    assert "… and 900 more" in whole.text
    assert (whole.data["count"], len(whole.data["messages"])) == (1000, 200)


def test_waits_grow_up_to_a_limit_and_differ_by_chance():
    pace = Pace(5, 600)
    assert [pace.wait_us(n, 0) / 1e6 for n in (1, 2, 3, 7, 8, 100)] == [5, 10, 20, 320, 600, 600]
    assert [pace.wait_us(n, 1) / 1e6 for n in (1, 2, 8)] == [2.5, 5, 300]


def test_a_receiver_that_asks_for_patience_gets_it_within_reason():
    pace = Pace(5, 600)
    assert pace.wait_us(1, 1, 90) == 90_000_000
    assert pace.wait_us(1, 0, 1) == 5_000_000
    assert pace.wait_us(1, 1, 10**9) == LONGEST_LATER_S * 1e6


def test_a_trial_says_that_nothing_happened():
    message = trial("shop", "Works", 99)
    assert "Nothing has happened." in message.text
    assert CAUTION in message.text
    assert message.key != trial("shop", "Works", 100).key
