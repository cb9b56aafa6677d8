"""The judge: raise once, update, clear, and forget what is gone."""

import dataclasses

from hypothesis import given
from hypothesis import strategies as st

from swarfline.alerts import URGENT, WARNING, Alert, Sighting
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
    assert found == Changes(updated=(standing(severity=URGENT, text="past"),))


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


sightings = st.lists(
    st.builds(
        sighting,
        st.booleans(),
        st.booleans(),
        st.sampled_from(["P1/1", "P2/2", "P3/3"]),
        st.sampled_from(["N1", "N2"]),
        severity=st.sampled_from([WARNING, URGENT]),
    ),
    max_size=8,
)


@given(st.lists(sightings, max_size=8))
def test_one_alert_stands_per_subject_and_judging_again_changes_nothing(rounds):
    stands: dict[object, Alert] = {}
    for now, seen in enumerate(rounds):
        found = judge(list(stands.values()), seen, now)
        for alert in found.cleared:
            del stands[alert.subject_key]
        for alert in found.raised:
            assert alert.subject_key not in stands
            stands[alert.subject_key] = alert
        for alert in found.updated:
            assert alert.raised_us == stands[alert.subject_key].raised_us
            stands[alert.subject_key] = alert
        assert not judge(list(stands.values()), seen, now)
