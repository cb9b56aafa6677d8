"""Alerts acknowledged and shelved beside the writer: neither undoes the other, and of several one does it."""

from __future__ import annotations

import subprocess
import sys
import threading
from dataclasses import replace

import pytest
from sqlalchemy import event

from swarfline.alerts import URGENT, Acknowledgement, Alert, Shelving, story
from swarfline.store import Batch, Store, StoreError

NEAR = Alert("tool_near_limit", "N1", "1/7", "warning", "Tool 7: 95 of 100", 10)
ANA, LUIS = Acknowledgement("Ana", 20, "new one is set"), Acknowledgement("Luis", 21)
ASIDE = Shelving(100, "Ana", 20, "waits for parts")


@pytest.fixture
def near(store):
    """A standing alert, as the store tells it."""
    store.writer().commit(Batch(raised=[NEAR]))
    (alert,) = store.queries.alerts()
    return alert


def change(store, alert, **more):
    store.writer().commit(Batch(changed=[replace(alert, **more)]))
    return store.queries.alert(alert.number)


def kinds(store, number=1, now_us=1000):
    return [e.kind for e in story(store.queries.alert_events(number), now_us)]


def test_acknowledged_once(store, near):
    doing = store.alerting()
    assert doing.acknowledge(near.number, ANA)
    assert not doing.acknowledge(near.number, LUIS)
    assert store.queries.alert(near.number).acknowledged == ANA
    told = store.queries.alert_events(near.number)[-1]
    assert (told.kind, told.at_us, told.who, told.note) == ("acknowledged", 20, "Ana", "new one is set")
    assert told.text == NEAR.text


def test_no_such_alert(store, near):
    doing = store.alerting()
    assert not doing.acknowledge(99, ANA) and not doing.shelve(99, ASIDE) and not doing.unshelve(99, ANA)
    assert store.queries.alert(99) is None and store.queries.alert_events(99) == []


def test_what_was_cleared_is_neither_acknowledged_nor_shelved(store, near):
    change(store, near, cleared_us=15)
    assert not store.alerting().acknowledge(near.number, ANA)
    assert not store.alerting().shelve(near.number, ASIDE)
    assert kinds(store) == ["raised", "cleared"]


def test_the_collector_leaves_alone_what_people_did(store, near):
    store.alerting().acknowledge(near.number, ANA)
    store.alerting().shelve(near.number, ASIDE)
    # the collector's picture of it is from before, and bears neither
    told = change(store, near, text="Tool 7: 96 of 100", changed_us=30)
    assert (told.acknowledged, told.shelved, told.text) == (ANA, ASIDE, "Tool 7: 96 of 100")
    told = change(store, near, text="Tool 7: 96 of 100", cleared_us=40)
    assert (told.acknowledged, told.shelved) == (ANA, ASIDE)
    assert kinds(store) == ["raised", "acknowledged", "shelved", "text_changed", "cleared", "shelving_ended"]


def test_a_higher_severity_takes_back_an_acknowledgement_that_the_collector_did_not_see(store, near):
    store.alerting().acknowledge(near.number, ANA)
    worse = change(store, near, severity=URGENT, text="past", changed_us=30)
    assert worse.acknowledged is None
    assert kinds(store) == ["raised", "acknowledged", "severity_changed", "acknowledgement_ended"]
    assert store.alerting().acknowledge(near.number, LUIS)
    assert change(store, worse, severity="warning", text="near", changed_us=40).acknowledged == LUIS


def test_an_acknowledgement_is_taken_back_while_the_alert_stands(store, near):
    doing = store.alerting()
    assert not doing.unacknowledge(near.number, LUIS), "there is none"
    assert doing.acknowledge(near.number, ANA) and doing.unacknowledge(near.number, LUIS)
    assert store.queries.alert(near.number).acknowledged is None
    assert [a.number for a in store.queries.alerts(unacknowledged=True)] == [near.number]
    assert kinds(store) == ["raised", "acknowledged", "unacknowledged"]
    assert (store.queries.alert_events(near.number)[-1].who, LUIS.who) == ("Luis", "Luis")
    assert doing.acknowledge(near.number, ANA)
    change(store, near, cleared_us=40)
    assert not doing.unacknowledge(near.number, LUIS), "what is over stays as it was"


def test_what_was_not_seen_is_not_acknowledged(store, near):
    change(store, near, severity=URGENT, changed_us=15)
    assert not store.alerting().acknowledge(near.number, ANA, seen="warning")
    assert store.alerting().acknowledge(near.number, ANA, seen=URGENT)


def test_shelved_again_it_gets_another_end_and_unshelved_none(store, near):
    doing = store.alerting()
    assert doing.shelve(near.number, ASIDE)
    assert doing.shelve(near.number, replace(ASIDE, until_us=200, who="Luis"))
    assert store.queries.alert(near.number).shelved_until_us == 200
    assert [a.number for a in store.queries.alerts(shelved_at_us=199)] == [near.number]
    assert store.queries.alerts(shelved_at_us=200) == []
    assert not doing.unshelve(near.number, replace(ANA, at_us=200))
    assert doing.unshelve(near.number, replace(ANA, at_us=150))
    assert store.queries.alert(near.number).shelved is None
    assert not doing.unshelve(near.number, replace(ANA, at_us=151))
    assert kinds(store) == ["raised", "shelved", "shelved", "unshelved"]


def test_many_changes_of_a_text_make_one_event(store, near):
    for used in range(96, 100):
        near = change(store, near, text=f"Tool 7: {used} of 100", changed_us=used)
    events = store.queries.alert_events(near.number)
    assert [(e.kind, e.at_us, e.text) for e in events[1:]] == [("text_changed", 99, "Tool 7: 99 of 100")]


def test_raised_again_it_is_the_same_row(store, near):
    gone = change(store, near, cleared_us=30)
    back = change(store, gone, cleared_us=None, times=2, again_us=32)
    assert (back.number, back.stands, back.since_us, back.raised_us) == (near.number, True, 32, 10)
    assert len(store.queries.alerts()) == 1
    assert kinds(store) == ["raised", "cleared", "raised_again"]


def test_what_the_judge_has_to_know(store):
    cleared = [replace(NEAR, subject=f"{us}", cleared_us=us) for us in (20, 30)]
    store.writer().commit(Batch(raised=[NEAR, *cleared, replace(NEAR, subject="aside")]))
    aside = next(a for a in store.queries.alerts() if a.subject == "aside")
    store.alerting().shelve(aside.number, ASIDE)
    change(store, aside, cleared_us=21)

    def known(now_us, within_us):
        return {a.subject for a in store.queries.known_alerts(now_us, within_us)}

    assert known(40, 10) == {"1/7", "30", "aside"}
    assert known(100, 70) == {"1/7", "30"}


def test_what_the_judge_asks_for_is_found_by_indexes(sqlite_store):
    statements = []
    event.listen(sqlite_store.engine, "before_cursor_execute", lambda *a: statements.append((a[2], a[3])))
    sqlite_store.queries.known_alerts(40, 10)
    (statement, parameters) = statements[-1]
    with sqlite_store.engine.connect() as connection:
        plan = connection.exec_driver_sql(f"EXPLAIN QUERY PLAN {statement}", parameters).all()
    told = [row[-1] for row in plan]
    assert not [line for line in told if line.startswith("SCAN")], told


@pytest.mark.parametrize(
    ("asked", "found"),
    [
        ({"unacknowledged": True}, ["b"]),
        ({"standing": True}, ["b", "a"]),
        ({"rule": "x"}, ["c"]),
        ({"severity": URGENT}, ["c", "b"]),
        ({"machine": ""}, ["b"]),
        ({}, ["c", "b", "a"]),
    ],
)
def test_alerts_are_found_by_what_they_are(store, asked, found):
    alerts = [
        replace(NEAR, subject="a"),
        replace(NEAR, subject="b", machine="", severity=URGENT),
        replace(NEAR, subject="c", rule="x", severity=URGENT, cleared_us=11),
    ]
    store.writer().commit(Batch(raised=alerts))
    store.alerting().acknowledge(next(a.number for a in store.queries.alerts() if a.subject == "a"), ANA)
    assert [a.subject for a in store.queries.alerts(**asked)] == found


ACKNOWLEDGE = """
import sys
from swarfline.alerts import Acknowledgement
from swarfline.store import Store
store = Store.open(sys.argv[1])
print("ready", flush=True)
sys.stdin.readline()
print(sum(store.alerting().acknowledge(n, Acknowledgement(sys.argv[2], 20)) for n in range(1, 41)), flush=True)
"""


def test_of_two_processes_that_acknowledge_at_once_one_does_it(url, store):
    store.writer().commit(Batch(raised=[replace(NEAR, subject=str(n)) for n in range(40)]))
    command = [sys.executable, "-c", ACKNOWLEDGE, url]
    started = [
        subprocess.Popen([*command, who], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        for who in ("Ana", "Luis")
    ]
    assert [p.stdout.readline() for p in started] == ["ready\n"] * 2
    for process in started:
        process.stdin.write("\n")
        process.stdin.flush()
    done = [int(process.communicate(timeout=60)[0]) for process in started]
    assert sum(done) == 40
    for alert in store.queries.alerts():
        (told,) = [e for e in store.queries.alert_events(alert.number) if e.kind == "acknowledged"]
        assert told.who == alert.acknowledged.who


def test_beside_the_writer_nothing_is_lost(url, store, near):
    def change_often():
        writer = store.writer()
        for turn in range(60):
            writer.commit(Batch(changed=[replace(near, text=str(turn), changed_us=30 + turn)]))

    thread = threading.Thread(target=change_often)
    thread.start()
    other = Store.open(url)
    for turn in range(20):
        assert other.alerting().shelve(near.number, replace(ASIDE, until_us=200 + turn))
    thread.join()
    other.close()
    told = store.queries.alert(near.number)
    assert (told.text, told.shelved_until_us) == ("59", 219)
    assert [e.kind for e in store.queries.alert_events(near.number)].count("shelved") == 20


def test_a_database_that_cannot_be_written_says_so(sqlite_store, file):
    sqlite_store.writer().commit(Batch(raised=[NEAR]))
    with sqlite_store.engine.connect() as busy:
        busy.exec_driver_sql("BEGIN IMMEDIATE")
        with pytest.raises(StoreError, match=r"cannot be written now .*; nothing was entered"):
            sqlite_store.alerting().acknowledge(1, ANA)
    assert sqlite_store.queries.alert(1).acknowledged is None
