"""Alerts: raised, changed while they stand, cleared, raised again."""

from __future__ import annotations

from dataclasses import replace

import pytest

from swarfline.alerts import URGENT, Alert
from swarfline.store import Batch

NEAR = Alert("tool_near_limit", "N1", "1/7", "warning", "Tool 7: 95 of 100", 10, None, {"used": 95, "unit": "µm"})
OTHER = Alert("tool_near_limit", "S1", "1/7", "warning", "Tool 7: 48 of 50", 20)


def commit(store, raised=(), changed=()):
    store.writer().commit(Batch(raised=raised, changed=changed))


def test_raised(store):
    commit(store, [NEAR, OTHER])
    assert store.queries.alerts() == [OTHER, NEAR]


def test_a_change_is_of_the_standing_alert_only(store):
    before = replace(NEAR, raised_us=1, cleared_us=5)
    commit(store, [before, NEAR, OTHER])
    worse = replace(NEAR, severity=URGENT, text="Tool 7: 99 of 100", detail={"used": 99})
    commit(store, changed=[worse])
    assert store.queries.alerts() == [OTHER, worse, before]


@pytest.mark.parametrize("other", [{"rule": "x"}, {"machine": "N2"}, {"subject": "1/8"}])
def test_a_change_is_of_the_same_rule_machine_and_subject(store, other):
    commit(store, [NEAR])
    commit(store, changed=[replace(NEAR, **other, text="changed")])
    assert store.queries.alerts() == [NEAR]


def test_cleared_and_raised_again_gives_a_second_one(store):
    cleared, again = replace(NEAR, cleared_us=30), replace(NEAR, raised_us=40)
    commit(store, [NEAR])
    commit(store, changed=[cleared])
    assert store.queries.alerts(standing=True) == []
    commit(store, [again])
    assert store.queries.alerts() == [again, cleared]
    assert store.queries.alerts(standing=True) == [again]


def test_cleared_and_raised_again_in_one_batch(store):
    cleared, again = replace(NEAR, cleared_us=30), replace(NEAR, raised_us=30)
    commit(store, [NEAR])
    commit(store, [again], [cleared])
    assert store.queries.alerts() == [again, cleared]


def test_raising_the_same_alert_twice_gives_one(store):
    commit(store, [NEAR])
    commit(store, [NEAR])
    assert store.queries.alerts() == [NEAR]


CLEARED = [Alert("r", "N1", "s", "warning", "", a, b) for a, b in ((0, 10), (10, 20), (20, None))]
ASKED = [
    ({}, [20, 10, 0]),
    ({"limit": 2}, [20, 10]),
    ({"machine": "S1"}, []),
    ({"machine": "N1", "standing": True}, [20]),
    ({"start_us": 10}, [20, 10]),
    ({"start_us": 9}, [20, 10, 0]),
    ({"start_us": 99}, [20]),
    ({"end_us": 10}, [0]),
    ({"end_us": 11}, [10, 0]),
    ({"start_us": 10, "end_us": 20}, [10]),
]


@pytest.mark.parametrize(("asked", "raised"), ASKED)
def test_alerts_of_a_span(store, asked, raised):
    commit(store, CLEARED)
    assert [alert.raised_us for alert in store.queries.alerts(**asked)] == raised
