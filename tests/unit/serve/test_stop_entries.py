"""Reasons of stops entered over HTTP: taken, shown, superseded, undone, refused."""

from __future__ import annotations

import pytest

from swarfline.facts import WAITING, Condition
from swarfline.store import Batch

from .entering import Writer
from .works import HOUR, MIDNIGHT, works

FAULT = "2026-03-10T10:00:00+01:00"
STOP = "2026-03-10T09:59:50+01:00"
"""The stop of 1810 s: ten seconds of waiting, then the fault."""


def fault(writing):
    (found,) = (s for s in writing.told("machines/N1/stops", limit=1000)["items"] if s["long"])
    return found["reason"], found["reason_by"]


def test_a_reason_given_goes_before_the_alarm(writing):
    assert fault(writing) == ("Door switch", "alarm")
    made = writing.entered("machines/N1/stop-reasons", stop=STOP, reason=" Guard bent ", note="ordered a new one")
    assert made == {
        "number": 1, "machine": "N1", "from": STOP, "to": "2026-03-10T10:30:00+01:00", "who": "Ana",
        "note": "ordered a new one", "entered": "2026-03-10T12:00:00+01:00", "undone": None, "undone_by": None,
        "undone_note": None, "reason": "Guard bent", "stop": STOP, "holds": True,
    }  # fmt: skip
    assert fault(writing) == ("Guard bent", "person")
    assert writing.told("stop-entries")["items"] == [made]


def test_any_time_in_the_stop_names_it(writing):
    assert writing.entered("machines/N1/stop-reasons", stop=FAULT, reason="Guard")["from"] == STOP


def test_a_span_is_kept_as_it_is_and_means_the_stop_that_it_overlaps_most(writing):
    span = {"from": "2026-03-10T10:10:00+01:00", "to": "2026-03-10T10:40:00+01:00"}
    made = writing.entered("machines/N1/stop-reasons", **span, reason="Guard")
    assert (made["from"], made["to"], made["stop"]) == (*span.values(), STOP)
    assert fault(writing) == ("Guard", "person")


def test_losses_follow(writing):
    writing.entered("machines/N1/stop-reasons", stop=STOP, reason="Guard")
    rows = writing.told("losses", split="reason", machine="N1")["items"]
    assert {r["reason"]: r["time_s"] for r in rows if r["loss"] == "stop_loss"} == {"Guard": 1810, "": 1030}


def test_part_of_a_stop_has_the_reason_of_the_whole(writing):
    writing.entered("machines/N1/stop-reasons", stop=STOP, reason="Guard")
    inside = {"from": "2026-03-10T10:10:00+01:00", "to": "2026-03-10T10:20:00+01:00"}
    (found,) = writing.told("machines/N1/stops", **inside)["items"]
    assert (found["reason"], found["planned_s"], found["length_s"]) == ("Guard", 600, 1810)


def test_an_entry_that_reaches_far_beyond_the_span_asked_for_sticks_to_its_own_stop(tmp_path):
    app, store = works(tmp_path)
    thursday = MIDNIGHT - 5 * 24 * HOUR
    store.writer().commit(Batch(facts=[Condition("S1", thursday + 6 * HOUR, thursday + 14 * HOUR, WAITING)]))
    writing = Writer(app)
    # eight hours of Thursday's stop, two of today's
    span = {"from": "2026-03-05T00:00:00+01:00", "to": "2026-03-10T08:00:00+01:00"}
    made = writing.entered("machines/S1/stop-reasons", **span, reason="No orders")
    assert made["stop"] == "2026-03-05T06:00:00+01:00"
    assert {s["reason"] for s in writing.told("machines/S1/stops")["items"]} == {""}
    assert writing.told("stop-entries")["items"] == [made]
    days = {"from": "2026-03-05T00:00:00+01:00"}
    assert [s["reason"] for s in writing.told("machines/S1/stops", **days)["items"]] == ["No orders", "", ""]
    store.close()


def test_a_later_entry_takes_over_and_the_earlier_stays_in_the_list(writing):
    writing.entered("machines/N1/stop-reasons", stop=STOP, reason="Guard")
    writing.entered("machines/N1/stop-reasons", stop=FAULT, reason="Switch", who="Luis")
    assert fault(writing) == ("Switch", "person")
    told = [(e["reason"], e["who"], e["holds"], e["stop"]) for e in writing.told("stop-entries")["items"]]
    assert told == [("Guard", "Ana", False, STOP), ("Switch", "Luis", True, STOP)]


def test_undoing_leaves_the_entry_with_who_and_when(writing):
    for reason in ("Guard", "Switch"):
        writing.entered("machines/N1/stop-reasons", stop=STOP, reason=reason)
    answer = writing.enter("entries/2/undo", who="Luis", note="wrong machine")
    assert answer.status_code == 200
    assert fault(writing) == ("Guard", "person")
    first, second = writing.told("stop-entries")["items"]
    assert (first["holds"], second["holds"], second["stop"]) == (True, False, None)
    undone = ("2026-03-10T12:00:00+01:00", "Luis", "wrong machine")
    assert (second["undone"], second["undone_by"], second["undone_note"]) == undone
    assert {k: answer.json()[k] for k in ("number", "undone_by")} == {"number": 2, "undone_by": "Luis"}
    writing.enter("entries/1/undo")
    assert fault(writing) == ("Door switch", "alarm")


def test_an_entry_is_undone_once(writing):
    writing.entered("machines/N1/stop-reasons", stop=STOP, reason="Guard")
    assert [writing.enter("entries/1/undo", who="Luis").status_code for _ in range(2)] == [200, 409]
    assert "by Luis already" in writing.enter("entries/1/undo").json()["detail"]
    # neither the undoing nor what never was
    assert [writing.enter(f"entries/{n}/undo").status_code for n in (2, 3)] == [404, 404]


def test_the_list_is_of_a_span_and_of_machines(writing):
    writing.entered("machines/N1/stop-reasons", stop=STOP, reason="Guard")
    writing.entered("machines/S1/stop-reasons", stop="2026-03-10T07:00:00+01:00", reason="No orders")
    listed = [e["machine"] for e in writing.told("stop-entries")["items"]]
    assert listed == ["S1", "N1"], "by the time that they are about"
    assert [e["machine"] for e in writing.told("stop-entries", machine="N1")["items"]] == ["N1"]
    assert [e["machine"] for e in writing.told("stop-entries", cell="south")["items"]] == ["S1"]
    assert writing.told("stop-entries", **{"from": "2026-03-10T11:00:00+01:00"})["items"] == []
    first = writing.told("stop-entries", limit=1)
    assert writing.get(first["next"]).json()["items"][0]["machine"] == "N1"


GOOD = {"stop": STOP, "reason": "Guard", "who": "Ana"}
WRONG = (
    ({"who": None}, "who"),
    ({"who": ""}, "who"),
    ({"who": "  "}, "who"),
    ({"who": "x" * 81}, "who"),
    ({"who": 7}, "who"),
    ({"reason": " "}, "reason"),
    ({"reason": "x" * 201}, "reason"),
    ({"reason": "a\nb"}, "reason"),
    ({"reason": "a\0"}, "reason"),
    ({"note": "x" * 1001}, "note"),
    ({"colour": "red"}, "colour"),
    ({"stop": "10:00"}, "stop"),
    ({"stop": "2026-03-10T10:00:00"}, "stop"),
    ({"stop": "2026-03-10T06:00:00+01:00"}, "stop"),
    ({"stop": "2026-03-11T06:00:00+01:00"}, "stop"),
    ({"from": STOP}, "stop"),
    ({"stop": None}, "from"),
    ({"stop": None, "from": STOP}, "to"),
    ({"stop": None, "to": STOP}, "from"),
    ({"stop": None, "from": STOP, "to": STOP}, "to"),
    ({"stop": None, "from": "2026-02-01T00:00:00Z", "to": STOP}, "from"),
    ({"stop": None, "from": STOP, "to": "tomorrow"}, "to"),
    ({"stop": None, "from": "2026-03-10T05:00:00Z", "to": "2026-03-10T05:02:00Z"}, "from"),
)


@pytest.mark.parametrize(("change", "parameter"), WRONG)
def test_what_cannot_be_meant_is_refused_and_named(refusing, change, parameter):
    body = {k: v for k, v in {**GOOD, **change}.items() if v is not None}
    answer = refusing.post("/api/v1/machines/N1/stop-reasons", json=body, headers={"host": "localhost"})
    assert answer.status_code == 422, answer.text
    assert answer.headers["content-type"] == "application/problem+json"
    assert parameter in [e["parameter"] for e in answer.json()["errors"]]
    assert refusing.told("stop-entries", span="week")["items"] == []


def test_an_unknown_machine_is_a_404(writing):
    assert writing.enter("machines/N9/stop-reasons", stop=STOP, reason="Guard").status_code == 404
    assert writing.enter("machines/N1/stop-reasons?x=1", stop=STOP, reason="Guard").status_code == 422
