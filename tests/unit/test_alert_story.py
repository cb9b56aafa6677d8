"""What follows from the events of an alert: ends of shelvings and of acknowledgements; and what comes first."""

from __future__ import annotations

from dataclasses import replace

import pytest

from swarfline.alerts import (
    ACKNOWLEDGED,
    EVENT_KINDS,
    INFORMATION,
    RAISED,
    SEVERITY_CHANGED,
    SHELVED,
    UNACKNOWLEDGED,
    UNSHELVED,
    URGENT,
    WARNING,
    Acknowledgement,
    Alert,
    AlertEvent,
    Shelving,
    by_urgency,
    happened,
    more_severe,
    story,
)

NEAR = Alert("r", "N1", "s", WARNING, "near", 10)


def event(kind, at_us, severity=WARNING, until_us=None):
    return AlertEvent(kind, at_us, severity, "near", until_us=until_us)


def told(*events, now_us=100):
    return [(e.kind, e.at_us) for e in story(events, now_us)]


def test_a_shelving_ends_by_itself():
    events = [event(RAISED, 1), event(SHELVED, 2, until_us=50)]
    assert told(*events, now_us=49) == [("raised", 1), ("shelved", 2)]
    assert told(*events, now_us=50) == [("raised", 1), ("shelved", 2), ("shelving_ended", 50)]


def test_its_end_stands_where_it_came():
    events = [event(RAISED, 1), event(SHELVED, 2, until_us=50), event("cleared", 60)]
    assert told(*events) == [("raised", 1), ("shelved", 2), ("shelving_ended", 50), ("cleared", 60)]


def test_a_shelving_that_was_taken_back_or_got_another_end_does_not_end_at_its_first_one():
    taken = [event(RAISED, 1), event(SHELVED, 2, until_us=50), event(UNSHELVED, 3)]
    assert "shelving_ended" not in dict(told(*taken))
    longer = [event(RAISED, 1), event(SHELVED, 2, until_us=50), event(SHELVED, 3, until_us=70)]
    assert [e for e in told(*longer) if e[0] == "shelving_ended"] == [("shelving_ended", 70)]


@pytest.mark.parametrize(("severities", "ends"), [((WARNING, URGENT), 1), ((WARNING, INFORMATION), 0)])
def test_an_acknowledgement_ends_with_a_higher_severity(severities, ends):
    first, then = severities
    events = [event(RAISED, 1, first), event(ACKNOWLEDGED, 2, first), event(SEVERITY_CHANGED, 3, then)]
    assert told(*events).count(("acknowledgement_ended", 3)) == ends
    # and one that was not acknowledged has none to end
    assert ("acknowledgement_ended", 3) not in told(events[0], events[2])


def test_an_acknowledgement_that_was_taken_back_does_not_end_once_more():
    taken = [
        event(RAISED, 1),
        event(ACKNOWLEDGED, 2),
        event(UNACKNOWLEDGED, 3),
        event(SEVERITY_CHANGED, 4, URGENT),
    ]
    assert "acknowledgement_ended" not in dict(told(*taken))
    again = [*taken[:3], event(ACKNOWLEDGED, 3), taken[3]]
    assert told(*again)[-1] == ("acknowledgement_ended", 4)


def test_what_happened_tells_each_change_once():
    changed = replace(NEAR, severity=URGENT, text="past", changed_us=20)
    back = replace(changed, times=2, again_us=40, text="past again", changed_us=40)
    assert [e.kind for e in happened(None, NEAR, 10)] == ["raised"]
    assert [(e.kind, e.at_us) for e in happened(NEAR, changed, 99)] == [("severity_changed", 20)]
    assert [e.kind for e in happened(NEAR, replace(NEAR, text="nearer", changed_us=15), 15)] == ["text_changed"]
    assert [(e.kind, e.at_us) for e in happened(changed, replace(changed, cleared_us=30), 30)] == [("cleared", 30)]
    assert [(e.kind, e.at_us) for e in happened(replace(changed, cleared_us=30), back, 40)] == [
        ("raised_again", 40)
    ]
    assert happened(back, back, 50) == []


def test_what_asks_for_somebody_comes_first():
    known, aside = Acknowledgement("Ana", 20), Shelving(100, "Ana", 20)
    order = [
        replace(NEAR, severity=URGENT, subject="new"),
        replace(NEAR, severity=URGENT, acknowledged=known),
        replace(NEAR, raised_us=12),
        NEAR,
        replace(NEAR, acknowledged=known),
        replace(NEAR, severity=INFORMATION),
        replace(NEAR, severity=URGENT, shelved=aside),
    ]
    assert by_urgency(reversed(order), 50) == order
    assert by_urgency(order, 100)[1].shelved == aside


def test_severities_have_an_order():
    assert more_severe(URGENT, WARNING) and more_severe(WARNING, INFORMATION) and more_severe(INFORMATION, "?")
    assert not more_severe(WARNING, WARNING)


def test_kinds_of_events_are_told_apart():
    assert len(set(EVENT_KINDS)) == len(EVENT_KINDS) == 11
