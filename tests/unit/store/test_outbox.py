"""The outbox: queued once, with the alerts or alone; attempts, and what they come to."""

from __future__ import annotations

from dataclasses import replace

import pytest

from swarfline.alerts import Alert
from swarfline.messages import GIVEN_UP, IN_ANOTHER, LONGEST_SUBJECT, REFUSED, SENT, WAITING, Attachment, Message
from swarfline.store import Batch
from swarfline.store.writer import Writer

ALERT = Alert("tool_near_limit", "N1", "1/7", "warning", "Tool 7: 95 of 100", 10)
TELLING = Message("office", "raised-1", "N1: tool 7", "Tool 7: 95 of 100", 10, data={"machine": "N1", "µ": 1})
REPORT = Message(
    "office", "report-1", "Week 12", "see the file", 20, "report", "<p>see the file</p>",
    (Attachment("week-12.pdf", "application/pdf", b"%PDF\0"), Attachment("week-12.csv", "text/csv", b"a,b")),
)  # fmt: skip


def due(store, now_us=100, channel="office", limit=100):
    return store.outbox.due(channel, now_us, limit)


def test_a_message_comes_back_as_it_was_queued(store):
    assert store.outbox.add([REPORT, TELLING]) == [1, 2]
    assert [one.message for one in due(store)] == [REPORT, TELLING]
    assert [(one.state, one.attempts, one.next_us) for one in due(store)] == [(WAITING, 0, 20), (WAITING, 0, 10)]


def test_messages_are_stored_with_the_alerts(store):
    store.writer().commit(Batch(raised=[ALERT], messages=[TELLING]))
    assert [one.message for one in due(store)] == [TELLING]


def test_alerts_and_messages_come_together_or_not_at_all(store):
    wrong = replace(TELLING, channel="x", data={"made": object()})
    with pytest.raises(TypeError):
        store.writer().commit(Batch(raised=[ALERT], messages=[TELLING, wrong]))
    assert (store.queries.alerts(), due(store)) == ([], [])


def test_a_batch_in_doubt_that_comes_again_queues_nothing_twice(store):
    batch = Batch(raised=[ALERT], messages=[TELLING])
    Writer(store.engine).commit(batch)
    Writer(store.engine).commit(batch)
    assert len(due(store)) == 1


def test_the_same_key_is_queued_once_for_each_channel(store):
    other = replace(TELLING, channel="hall", subject="other")
    assert len(store.outbox.add([TELLING, other])) == 2
    assert store.outbox.add([replace(TELLING, subject="changed"), other]) == []
    assert due(store)[0].message == TELLING
    assert store.outbox.keys(["raised-1", "raised-2"]) == {("office", "raised-1"), ("hall", "raised-1")}


def test_what_no_database_holds_keeps_nothing_out(store):
    store.outbox.add([replace(TELLING, subject="a\0b\ud800" + "x" * 500, text="\udfff", data={"t": "\ud800\0"})])
    message = due(store)[0].message
    assert message.subject.startswith("a\ufffdb?xx")
    assert (len(message.subject), message.text, message.data) == (LONGEST_SUBJECT, "?", {"t": "\ud800\0"})


@pytest.mark.parametrize("key", ["", "a b", "ä", "a\r\nBcc: x", "x" * 81])
def test_a_key_that_could_not_be_a_header_is_refused(key):
    with pytest.raises(ValueError, match="visible ASCII"):
        replace(TELLING, key=key)


def test_a_message_is_due_when_it_may_be_sent(store):
    store.outbox.add([replace(TELLING, not_before_us=50)])
    assert (due(store, 49), len(due(store, 50))) == ([], 1)


def test_an_attempt_is_begun_by_one_only_and_due_again_when_it_is_not_ended(store):
    store.outbox.add([TELLING])
    (mine,), (theirs,) = due(store), due(store)
    assert store.outbox.begin(mine, 100, 160)
    assert not store.outbox.begin(theirs, 100, 160)
    assert due(store, 159) == []
    (again,) = due(store, 160)
    assert (again.attempts, again.tried_us) == (1, 100)


def test_a_clock_that_was_set_back_makes_nothing_wait_for_it(store):
    store.outbox.add([TELLING])
    (one,) = due(store, 10**9)
    store.outbox.begin(one, 10**9, 2 * 10**9)
    assert due(store, 10**9) == []
    assert [again.attempts for again in due(store, 10**9 - 1)] == [1]
    assert store.outbox.waiting("office") == 1


def test_a_failed_attempt_says_why_and_when_the_next_one_is(store):
    store.outbox.add([TELLING])
    (one,) = due(store)
    store.outbox.begin(one, 100, 160)
    assert store.outbox.again(one, 130, "no answer within 5 s" + "!" * 1000)
    (after,) = due(store, 130)
    assert after.problem.startswith("no answer within 5 s!")
    assert (after.attempts, len(after.problem)) == (1, 500)


def test_who_came_too_late_changes_nothing(store):
    store.outbox.add([TELLING])
    (slow,) = due(store)
    store.outbox.begin(slow, 100, 160)
    (quick,) = due(store, 160)
    store.outbox.begin(quick, 160, 220)
    assert store.outbox.settle(quick, SENT, 170)
    assert not store.outbox.again(slow, 130, "late")
    assert not store.outbox.settle(slow, REFUSED, 180)
    assert [one.state for one in store.outbox.told(9)] == [SENT]


@pytest.mark.parametrize("state", [SENT, REFUSED, GIVEN_UP])
def test_a_settled_message_is_kept_and_never_due(store, state):
    store.outbox.add([TELLING])
    (one,) = due(store)
    store.outbox.begin(one, 100, 160)
    store.outbox.settle(one, state, 110, "410 Gone" if state != SENT else "")
    assert due(store, 10**9) == []
    assert store.outbox.waiting("office") == 0
    (kept,) = store.outbox.told(9)
    assert (kept.state, kept.settled_us, kept.next_us, bool(kept.problem)) == (state, 110, None, state != SENT)
    assert store.outbox.settled_since("office", state, 110) == 1
    assert store.outbox.settled_since("office", state, 111) == 0


def test_many_become_one(store):
    parts = [replace(TELLING, key=f"raised-{n}") for n in range(3)]
    store.outbox.add(parts)
    waiting = due(store)
    whole = replace(TELLING, key="joined-1", kind="joined")
    assert store.outbox.join(waiting, whole, 100) == 4
    assert [one.message.key for one in due(store)] == ["joined-1"]
    assert {(one.state, one.inside) for one in store.outbox.told(9)[1:]} == {(IN_ANOTHER, 4)}


def test_nothing_is_joined_when_one_of_them_is_being_sent(store):
    store.outbox.add([replace(TELLING, key=f"raised-{n}") for n in range(3)])
    waiting = due(store)
    store.outbox.begin(waiting[1], 100, 160)
    assert store.outbox.join(waiting, replace(TELLING, key="joined-1"), 100) is None
    assert [one.message.key for one in due(store)] == ["raised-0", "raised-2"]


def test_messages_are_told_newest_first_by_channel_state_and_place(store):
    store.outbox.add([replace(TELLING, key=f"raised-{n}", channel="ab"[n % 2]) for n in range(5)])
    told = store.outbox.told
    assert [one.number for one in told(3)] == [5, 4, 3]
    assert [one.number for one in told(9, channel="a", before=5)] == [3, 1]
    assert told(9, state=SENT) == []
    assert [one.number for one in store.outbox.waiting_elsewhere(["a"], 9)] == [4, 2]


def test_old_ones_are_forgotten_with_their_files_but_none_that_waits(store):
    store.outbox.add([TELLING, REPORT])
    _, report = due(store)
    store.outbox.begin(report, 100, 160)
    store.outbox.settle(report, SENT, 110)
    assert (store.outbox.forget(110), store.outbox.forget(10**9)) == (0, 1)
    assert [one.message.key for one in store.outbox.told(9)] == ["raised-1"]
    store.outbox.add([replace(REPORT, attachments=())])
    assert due(store)[1].message.attachments == ()
