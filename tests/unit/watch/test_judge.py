"""The judge: raise once, update, clear, and forget what is gone."""

import dataclasses

import pytest
from hypothesis import given
from hypothesis import strategies as st

from swarfline.alerts import (
    CLEARED,
    RAISED,
    RAISED_AGAIN,
    SEVERITIES,
    URGENT,
    WARNING,
    Acknowledgement,
    Alert,
    AlertEvent,
    Shelving,
    Sighting,
    happened,
)
from swarfline.watch.judge import Changes, judge


def sighting(active=True, clear=False, subject="P7/7", machine="N1", **more):
    return Sighting("tool_near_limit", machine, subject, active, clear, **{"text": "near", **more})


def standing(subject="P7/7", machine="N1", **more):
    return Alert(**{"rule": "tool_near_limit", "machine": machine, "subject": subject, "severity": WARNING,
                    "text": "near", "raised_us": 5, **more})  # fmt: skip


def test_what_holds_is_raised_once():
    first = judge([], [sighting(detail={"used": 93})], 10)
    assert first == Changes(raised=(standing(raised_us=10, detail={"used": 93}),))
    assert not judge(first.raised, [sighting()], 20)


def test_what_is_between_stays_as_it_was():
    between = sighting(active=False, clear=False)
    assert not judge([standing()], [between], 10)
    assert not judge([], [between], 10)


def test_what_is_past_its_hysteresis_is_cleared():
    found = judge([standing()], [sighting(active=False, clear=True)], 10)
    assert found == Changes(cleared=(standing(cleared_us=10),))
    assert not judge([], [sighting(active=False, clear=True)], 10)


def test_a_change_of_severity_or_text_updates_and_keeps_when_it_was_raised():
    found = judge([standing()], [sighting(severity=URGENT, text="past")], 10)
    assert found == Changes(updated=(standing(severity=URGENT, text="past", changed_us=10),))


def test_a_subject_that_is_gone_is_cleared_when_its_machine_was_looked_at():
    found = judge([standing()], [sighting(False, True, subject="P8/9")], 10)
    assert [a.subject for a in found.cleared] == ["P7/7"]


def test_a_tool_replaced_by_another_that_is_near_too_is_cleared_and_the_other_raised():
    found = judge([standing()], [sighting(subject="P7/12")], 10)
    assert ([a.subject for a in found.cleared], [a.subject for a in found.raised]) == (["P7/7"], ["P7/12"])


def test_a_machine_or_rule_that_was_not_looked_at_keeps_its_alerts():
    other_rule = dataclasses.replace(sighting(False, True), rule="other")
    assert not judge([standing()], [], 10)
    assert not judge([standing()], [sighting(False, True, machine="N2")], 10)
    assert not judge([standing()], [other_rule], 10)


def test_after_it_was_cleared_it_is_raised_anew():
    found = judge([standing(cleared_us=7)], [sighting()], 10)
    assert found == Changes(raised=(standing(raised_us=10),))


KNOWN = Acknowledgement("Ana", 6)
WITHIN = 4


def test_what_comes_back_soon_is_the_same_alert_with_its_acknowledgement():
    gone = standing(cleared_us=8, acknowledged=KNOWN, number=3)
    found = judge([gone], [sighting()], 8 + WITHIN, WITHIN)
    (again,) = found.again
    assert found == Changes(again=(standing(times=2, again_us=12, acknowledged=KNOWN),))
    assert (again.number, found.changed, again.since_us) == (3, (again,), 12)


def test_what_comes_back_later_is_a_new_alert():
    found = judge([standing(cleared_us=8, acknowledged=KNOWN)], [sighting()], 9 + WITHIN, WITHIN)
    assert found == Changes(raised=(standing(raised_us=9 + WITHIN),))
    assert judge([standing(cleared_us=8)], [sighting()], 8, 0).raised


def test_what_comes_back_while_it_is_shelved_is_the_same_alert_however_late():
    shelved = standing(cleared_us=8, shelved=Shelving(100, "Ana", 7))
    assert judge([shelved], [sighting()], 99, WITHIN).again == (
        standing(times=2, again_us=99, shelved=Shelving(100, "Ana", 7)),
    )
    assert judge([shelved], [sighting()], 100, WITHIN).raised


def test_of_several_that_were_cleared_the_newest_comes_back():
    older, newer = standing(raised_us=1, cleared_us=9), standing(raised_us=3, cleared_us=9)
    (again,) = judge([older, newer], [sighting()], 10, WITHIN).again
    assert (again.raised_us, again.times) == (3, 2)


@pytest.mark.parametrize(("before", "after", "kept"), [(WARNING, URGENT, False), (URGENT, WARNING, True)])
def test_a_higher_severity_takes_an_acknowledgement_back(before, after, kept):
    stands = standing(severity=before, acknowledged=KNOWN)
    (updated,) = judge([stands], [sighting(severity=after)], 10).updated
    assert updated.acknowledged == (KNOWN if kept else None)
    (again,) = judge([dataclasses.replace(stands, cleared_us=9)], [sighting(severity=after)], 10, WITHIN).again
    assert again.acknowledged == (KNOWN if kept else None)


def test_alerts_of_servers_and_of_the_plant_have_no_machine():
    plant = [sighting(machine="", subject="server/S1"), sighting(machine="", subject="plant")]
    stands = judge([], plant, 10).raised
    assert [a.subject for a in stands] == ["server/S1", "plant"]
    found = judge(stands, [sighting(False, True, machine="", subject="server/S1")], 20)
    assert [a.subject for a in found.cleared] == ["server/S1", "plant"]


SUBJECTS, MACHINES = ["P1/1", "P2/2", "P3/3"], ["N1", "N2", ""]
sightings = st.lists(
    st.builds(
        sighting,
        st.booleans(),
        st.booleans(),
        st.sampled_from(SUBJECTS),
        st.sampled_from(MACHINES),
        severity=st.sampled_from(SEVERITIES),
    ),
    max_size=8,
)


class Ledger:
    """All alerts there ever were, as a store would keep them."""

    def __init__(self):
        self.alerts: dict[int, Alert] = {}
        self.events: dict[int, list[AlertEvent]] = {}

    def known(self, now, forgetful):
        """What the judge is given: everything, or only what it has to know."""
        found = list(self.alerts.values())
        return [a for a in found if a.stands or a.cleared_us >= now - WITHIN] if forgetful else found

    def take(self, changes, now):
        for alert in changes.raised:
            number = len(self.alerts) + 1
            self.alerts[number] = dataclasses.replace(alert, number=number)
            self.events[number] = happened(None, alert, now)
        for alert in changes.changed:
            self.events[alert.number] += happened(self.alerts[alert.number], alert, now)
            self.alerts[alert.number] = alert

    def standing(self):
        return [a for a in self.alerts.values() if a.stands]


@given(st.lists(sightings, max_size=12), st.integers(0, 12))
def test_one_alert_stands_per_subject_whatever_is_seen_and_whenever_it_starts_anew(rounds, restart):
    ledger, whole = Ledger(), Ledger()
    for now, seen in enumerate(rounds):
        # what a later start knows of is what the store tells; the other ledger never forgets anything
        ledger.take(judge(ledger.known(now, now >= restart), seen, now, WITHIN), now)
        whole.take(judge(whole.known(now, False), seen, now, WITHIN), now)
        assert (ledger.alerts, ledger.events) == (whole.alerts, whole.events)
        keys = [a.subject_key for a in ledger.standing()]
        assert len(keys) == len(set(keys))
        assert not judge(ledger.known(now, True), seen, now, WITHIN)


@given(st.lists(sightings, max_size=12))
def test_what_happened_is_told_in_order_and_adds_up(rounds):
    ledger = Ledger()
    for now, seen in enumerate(rounds):
        ledger.take(judge(ledger.known(now, True), seen, now, WITHIN), now)
    for number, events in ledger.events.items():
        alert, kinds = ledger.alerts[number], [e.kind for e in events]
        assert [e.at_us for e in events] == sorted(e.at_us for e in events)
        assert kinds[0] == RAISED and kinds.count(RAISED) == 1
        assert alert.times == 1 + kinds.count(RAISED_AGAIN)
        # stands and stood alternate, and the last one says which
        turns = [k for k in kinds if k in (RAISED, RAISED_AGAIN, CLEARED)]
        assert all((k == CLEARED) == (n % 2 == 1) for n, k in enumerate(turns))
        assert alert.stands == (turns[-1] != CLEARED)
        assert (events[-1].severity, events[-1].text) == (alert.severity, alert.text)
