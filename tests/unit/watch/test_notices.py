"""Who is told what of alerts, when it may be sent, and what nobody acknowledged."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, time
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from swarfline.alerts import Acknowledgement, Alert, Shelving
from swarfline.calendar import to_us
from swarfline.messages import LONGEST_KEY
from swarfline.watch.notices import CAUTION, Quiet, Terms, Wish, escalations, not_before_us, notices, quiet_end_us

MADRID = ZoneInfo("Europe/Madrid")
NOW_US = to_us(datetime(2026, 3, 10, 12, 0, tzinfo=MADRID))
MINUTE_US = 60_000_000
NEAR = Alert("tool_near_limit", "N1", "1/7", "warning", "Tool 7: 95 of 100", NOW_US, None, {"used": 95.0})


def terms(*wishes):
    return Terms("Irrigation works", MADRID, wishes)


SHOP_ONLY = (Wish("shop"),)


def told(raised=(), changed=(), before=(), wishes=SHOP_ONLY, now_us=NOW_US):
    return notices(raised, changed, before, terms(*wishes), NOW_US, now_us)


def events(messages):
    return [(message.channel, message.data["event"]) for message in messages]


def test_an_alert_that_is_raised():
    (message,) = told([NEAR])
    assert message.subject == "Irrigation works: warning: Tool 7: 95 of 100"
    assert message.text.splitlines()[:6] == [
        "Warning alert, raised 2026-03-10 12:00:00+01:00", "", "Tool 7: 95 of 100", "", "Machine: N1",
        "Rule: tool_near_limit",
    ]  # fmt: skip
    assert CAUTION in message.text
    assert message.data == {
        "event": "raised", "plant": "Irrigation works", "story": message.key, "number": None, "times": 1,
        "rule": "tool_near_limit",
        "machine": "N1",
        "subject": "1/7",
        "severity": "warning", "text": "Tool 7: 95 of 100", "raised": "2026-03-10T12:00:00.000+01:00",
        "cleared": None, "detail": {"used": 95.0},
    }  # fmt: skip
    assert (message.created_us, message.not_before_us, message.held) == (NOW_US, NOW_US, False)


def test_the_caution_says_that_it_is_no_safety_function():
    for word in (
        "not a safety function",
        "qualified people",
        "locked out",
        "machine builder's manual",
        "local rules",
    ):
        assert word in CAUTION


def test_what_json_cannot_say_is_not_known():
    (message,) = told([replace(NEAR, detail={"used": float("inf"), "rate": float("nan"), "left": None})])
    assert message.data["detail"] == {"used": None, "rate": None, "left": None}


def test_an_alert_of_a_server_names_no_machine():
    (message,) = told([replace(NEAR, machine="", subject="server/line", text="lost")])
    assert "About: server/line" in message.text
    assert message.data["machine"] is None


def test_worse_and_cleared_are_told_other_changes_are_not():
    worse = replace(NEAR, severity="urgent", text="Tool 7: 100 of 100")
    cleared = replace(NEAR, cleared_us=NOW_US + 1)
    assert events(told(changed=[worse], before=[NEAR])) == [("shop", "worse")]
    assert events(told(changed=[cleared], before=[NEAR])) == [("shop", "cleared")]
    assert told(changed=[replace(NEAR, text="Tool 7: 96 of 100")], before=[NEAR]) == []
    assert told(changed=[NEAR], before=[worse]) == []
    assert told(changed=[worse]) == []


def test_what_comes_back_is_told_to_those_who_heard_that_it_was_over():
    quiet, loud = Wish("quiet", cleared=False), Wish("loud")
    over = replace(NEAR, cleared_us=NOW_US + 1, number=5)
    back = replace(NEAR, times=2, again_us=NOW_US + 2)
    (message,) = told(changed=[back], before=[over], wishes=[quiet, loud])
    assert (message.channel, message.data["event"], message.data["times"]) == ("loud", "raised_again", 2)
    worse = replace(back, severity="urgent")
    assert events(told(changed=[worse], before=[over], wishes=[quiet])) == [("quiet", "worse")]
    third = replace(back, times=3)
    assert told(changed=[third], before=[over])[0].key != message.key


def test_a_channel_may_not_want_to_know_of_what_is_over():
    quiet, loud = Wish("quiet", cleared=False), Wish("loud")
    cleared = replace(NEAR, cleared_us=NOW_US + 1)
    assert events(told(changed=[cleared], before=[NEAR], wishes=[quiet, loud])) == [("loud", "cleared")]


def test_nothing_is_told_of_what_is_set_aside():
    shelved = replace(NEAR, shelved=Shelving(NOW_US + 1, "Ana", NOW_US))
    for change in ({"severity": "urgent"}, {"cleared_us": NOW_US}):
        assert told(changed=[replace(shelved, **change)], before=[shelved]) == []
    ended = replace(shelved, shelved=Shelving(NOW_US, "Ana", NOW_US), severity="urgent")
    assert events(told(changed=[ended], before=[shelved])) == [("shop", "worse")]


PLACE = frozenset({"N1", "server/line"})
CHOICES = [
    ({}, {}, True),
    ({"alerts": False}, {}, False),
    ({"severities": frozenset({"urgent"})}, {}, False),
    ({"severities": frozenset({"urgent"})}, {"severity": "urgent"}, True),
    ({"rules": frozenset({"disk"})}, {}, False),
    ({"rules": frozenset({"disk", "tool_near_limit"})}, {}, True),
    ({"places": PLACE}, {}, True),
    ({"places": PLACE}, {"machine": "N2"}, False),
    ({"places": PLACE}, {"machine": "", "subject": "server/line"}, True),
    ({"places": PLACE}, {"machine": "", "subject": "server/other"}, False),
    ({"places": PLACE}, {"machine": "", "subject": "plant"}, True),
    ({"places": frozenset()}, {}, False),
]


@pytest.mark.parametrize(("wish", "alert", "wanted"), CHOICES)
def test_selection(wish, alert, wanted):
    assert Wish("shop", **wish).wants(replace(NEAR, **alert)) is wanted


def test_keys_tell_apart_what_is_not_the_same_and_nothing_else():
    worse, cleared = replace(NEAR, severity="urgent"), replace(NEAR, cleared_us=NOW_US + 1)
    alerts = [NEAR, replace(NEAR, machine="N2"), replace(NEAR, subject="1/8"), replace(NEAR, raised_us=NOW_US - 1)]
    found = told([*alerts, replace(NEAR, rule="other")], [worse, cleared], [NEAR])
    assert len({message.key for message in found}) == len(found) == 7
    again = told([replace(NEAR, text="other", detail={})], now_us=NOW_US + 5)
    assert again[0].key == found[0].key


@given(st.text(max_size=50), st.text(max_size=300))
def test_whatever_a_machine_is_called_makes_a_message(subject, text):
    (message,) = told([replace(NEAR, subject=subject, text=text)])
    assert len(message.key) <= LONGEST_KEY
    assert len(message.subject) <= 200


def at(hour, minute=0, day=10, month=3, fold=0):
    return to_us(datetime(2026, month, day, hour, minute, tzinfo=MADRID, fold=fold))


NIGHT = Quiet(time(22), time(6))


@pytest.mark.parametrize(
    ("quiet", "moment", "end"),
    [
        (NIGHT, at(21, 59), at(21, 59)),
        (NIGHT, at(22), at(6, day=11)),
        (NIGHT, at(5, 59), at(6)),
        (NIGHT, at(6), at(6)),
        (Quiet(time(12), time(13)), at(12, 30), at(13)),
        # 2026-03-10 is a Tuesday
        (Quiet(time(22), time(6), frozenset({1})), at(23), at(23)),
        (Quiet(time(22), time(6), frozenset({1})), at(5), at(6)),
        # the weekend: Saturday and Sunday, from midnight to midnight
        (Quiet(time(0), time(0), frozenset({6, 7})), at(12, day=14), at(0, day=16)),
        # never ends
        (Quiet(time(0), time(0)), at(12), at(0, day=18)),
    ],
)
def test_quiet_hours(quiet, moment, end):
    assert quiet_end_us(quiet, MADRID, moment) == end


HOUR_US = 60 * MINUTE_US
CLOCK_CHANGES = [
    # 2026-03-29 02:00 becomes 03:00, 2026-10-25 03:00 becomes 02:00 (EU directive 2000/84/EC)
    (NIGHT, at(22, day=28), at(6, day=29), 7),
    (NIGHT, at(22, day=24, month=10), at(6, day=25, month=10), 9),
    (Quiet(time(2, 30), time(6)), at(3, 29, day=29), at(3, 29, day=29), 0),
    (Quiet(time(2, 30), time(6)), at(3, 30, day=29), at(6, day=29), 2.5),
    (Quiet(time(1), time(2, 30)), at(1, day=25, month=10), at(2, 30, day=25, month=10), 1.5),
    (Quiet(time(1), time(2, 30)), at(2, 15, day=25, month=10, fold=1), at(2, 15, day=25, month=10, fold=1), 0),
    (Quiet(time(1), time(3)), at(1, day=25, month=10), at(3, day=25, month=10), 3),
]


@pytest.mark.parametrize(("quiet", "moment", "end", "hours"), CLOCK_CHANGES)
def test_quiet_hours_when_the_clocks_change(quiet, moment, end, hours):
    assert quiet_end_us(quiet, MADRID, moment) == end
    assert end - moment == hours * HOUR_US


@pytest.mark.parametrize(
    ("wish", "severity", "moment", "expected"),
    [
        ({"quiet": NIGHT}, "warning", at(23), at(6, day=11)),
        ({"quiet": NIGHT}, "urgent", at(23), at(23)),
        ({"quiet": NIGHT, "urgent_at_once": False}, "urgent", at(23), at(6, day=11)),
        ({"collect_us": 10 * MINUTE_US}, "warning", at(12, 3), at(12, 10)),
        ({"collect_us": 10 * MINUTE_US}, "warning", at(12, 10), at(12, 20)),
        ({"collect_us": 10 * MINUTE_US}, "urgent", at(12, 3), at(12, 3)),
        ({"collect_us": 60 * MINUTE_US, "quiet": NIGHT}, "warning", at(21, 30), at(6, day=11)),
        ({"daily": time(7)}, "warning", at(6, 59), at(7)),
        ({"daily": time(7)}, "warning", at(7), at(7, day=11)),
        ({"daily": time(2, 30)}, "warning", at(1, day=29), at(3, 30, day=29)),
        ({"daily": time(2, 30)}, "warning", at(2, 30, day=25, month=10), at(2, 30, day=26, month=10)),
    ],
)
def test_when_a_message_may_be_sent(wish, severity, moment, expected):
    assert not_before_us(Wish("shop", **wish), severity, MADRID, moment) == expected


@given(st.integers(at(0), at(0) + 366 * 24 * HOUR_US), st.integers(0, 1439), st.integers(0, 1439))
def test_what_is_put_off_comes_within_a_day_and_not_into_quiet_hours(moment, start, end):
    quiet = Quiet(time(start // 60, start % 60), time(end // 60, end % 60))
    found = quiet_end_us(quiet, MADRID, moment)
    assert found >= moment
    if start != end:
        assert found - moment <= 25 * HOUR_US
        assert quiet_end_us(quiet, MADRID, found) == found


CHIEF = Wish("chief", alerts=False)
SHOP = Wish("shop", escalate_to="chief", escalate_us=15 * MINUTE_US, severities=frozenset({"warning", "urgent"}))


def escalated(alert, minutes=15.0, wishes=(SHOP, CHIEF)):
    now_us = NOW_US + round(minutes * MINUTE_US)
    return escalations([alert], terms(*wishes), now_us, now_us)


def test_what_nobody_acknowledges_is_told_to_somebody_else():
    (message,) = escalated(NEAR)
    assert (message.channel, message.data["event"]) == ("chief", "escalated")
    assert message.text.startswith("Nobody has acknowledged this warning alert, raised 2026-03-10 12:00:00+01:00")
    assert escalated(NEAR, 30)[0].key == message.key


@pytest.mark.parametrize(
    "asked",
    [
        {"minutes": 14.99}, {"alert": replace(NEAR, acknowledged=Acknowledgement("Ana", NOW_US))},
        {"alert": replace(NEAR, shelved=Shelving(at(13), "Ana", NOW_US))},
        {"alert": replace(NEAR, times=2, again_us=NOW_US + MINUTE_US)},
        {"alert": replace(NEAR, cleared_us=NOW_US)},
        {"alert": replace(NEAR, severity="information")}, {"wishes": [CHIEF]},
    ],
)  # fmt: skip
def test_nothing_escalates_that_need_not(asked):
    assert escalated(**{"alert": NEAR, **asked}) == []


def test_escalation_goes_on_from_channel_to_channel():
    boss = Wish("boss", alerts=False, escalate_to="shop")
    chief = Wish("chief", alerts=False, escalate_to="boss", escalate_us=60 * MINUTE_US)
    reached = [[m.channel for m in escalated(NEAR, minutes, [SHOP, chief, boss])] for minutes in (14, 15, 60)]
    assert reached == [[], ["chief"], ["chief", "boss", "shop"]]


def test_every_message_of_an_alert_names_the_first_one():
    worse, cleared = replace(NEAR, severity="urgent"), replace(NEAR, cleared_us=NOW_US + 1)
    first, *others = told([NEAR], [worse, cleared], [NEAR])
    assert {message.data["story"] for message in (first, *others, *escalated(NEAR))} == {first.key}


def test_where_the_page_is_shown_is_told_where_it_is_known():
    where = Terms("Irrigation works", MADRID, SHOP_ONLY, "https://swarf.example/alerts")
    (message,) = notices([NEAR], [], [], where, NOW_US, NOW_US)
    assert "All alerts: https://swarf.example/alerts" in message.text
    assert "All alerts" not in told([NEAR])[0].text


def test_two_channels_that_escalate_to_a_third_tell_it_once():
    assert len(escalated(NEAR, wishes=[SHOP, replace(SHOP, channel="office"), CHIEF])) == 1
