"""Notes and targets over HTTP: taken, listed, used, undone, refused.

The shift of the works is planned from 06:00 to 14:00 but for 20 minutes: 460 min, at 160 s a part 172.5 parts; by
12:00, its present, 340 min have passed.
"""

from __future__ import annotations

import pytest

NOTES, TARGETS = "machines/N1/notes", "machines/N1/targets"
SHIFT = {"from": "2026-03-10T06:00:00+01:00", "to": "2026-03-10T14:00:00+01:00"}


def pace(writing):
    (found,) = writing.told("pace", machine="N1")["items"]
    return found["target"], found["expected"], found["target_told"]


def test_a_note_is_about_a_moment_a_span_or_now(writing):
    made = writing.entered(NOTES, time="2026-03-10T08:00:00+01:00", text=" New batch of castings ")
    assert made == {
        "number": 1, "machine": "N1", "from": "2026-03-10T08:00:00+01:00",
        "to": "2026-03-10T08:00:00.000001+01:00",
        "who": "Ana", "note": "", "entered": "2026-03-10T12:00:00+01:00", "undone": None, "undone_by": None,
        "undone_note": None, "text": "New batch of castings",
    }  # fmt: skip
    span = {"from": "2026-03-10T07:00:00+01:00", "to": "2026-03-10T07:30:00+01:00"}
    assert writing.entered(NOTES, **span, text="Trial")["to"] == span["to"]
    assert writing.entered(NOTES, text="Now")["to"] == "2026-03-10T12:00:00+01:00"
    assert [n["text"] for n in writing.told("notes")["items"]] == ["Trial", "New batch of castings", "Now"]
    assert writing.told("notes", machine="S1")["items"] == []
    assert [n["text"] for n in writing.told("notes", **{**span, "to": "2026-03-10T08:00:00+01:00"})["items"]] == [
        "Trial"
    ]


def test_a_target_goes_before_the_plan_and_its_undoing_brings_the_plan_back(writing):
    assert pace(writing) == (pytest.approx(172.5), pytest.approx(127.5), False)
    made = writing.entered(TARGETS, span="shift", quantity=230, part="PH-12")
    assert {k: made[k] for k in ("from", "to", "part", "quantity")} == {**SHIFT, "part": "PH-12", "quantity": 230}
    assert pace(writing) == (230, 170, True)
    assert writing.told("targets")["items"] == [made]
    assert writing.enter("entries/1/undo", who="Luis").status_code == 200
    assert pace(writing) == (pytest.approx(172.5), pytest.approx(127.5), False)
    assert writing.told("targets")["items"][0]["undone_by"] == "Luis"


def test_a_target_of_a_week_gives_each_shift_its_share(writing):
    """Monday to Friday have a shift of 460 min: each has a fifth of it."""
    writing.entered(TARGETS, span="week", quantity=700)
    assert pace(writing) == (140, pytest.approx(140 * 340 / 460), True)


def test_a_target_may_lie_ahead(writing):
    ahead = {"from": "2026-03-11T06:00:00+01:00", "to": "2026-03-11T14:00:00+01:00"}
    writing.entered(TARGETS, **ahead, quantity=150)
    assert pace(writing)[2] is False
    assert writing.told("targets")["items"] == []
    assert len(writing.told("targets", **{"from": SHIFT["from"], "to": ahead["to"]})["items"]) == 1


@pytest.mark.parametrize(
    ("path", "body", "parameter"),
    [
        (NOTES, {}, "text"),
        (NOTES, {"text": "  "}, "text"),
        (NOTES, {"text": "x" * 1001}, "text"),
        (NOTES, {"text": "bell\a"}, "text"),
        (NOTES, {"text": "x", "who": ""}, "who"),
        (NOTES, {"text": "x", "time": "2026-03-10T12:00:01+01:00"}, "time"),
        (NOTES, {"text": "x", "time": "soon"}, "time"),
        (NOTES, {"text": "x", "from": SHIFT["from"]}, "to"),
        (NOTES, {"text": "x", "time": SHIFT["from"], **SHIFT}, "time"),
        (TARGETS, {**SHIFT}, "quantity"),
        (TARGETS, {**SHIFT, "quantity": -1}, "quantity"),
        (TARGETS, {**SHIFT, "quantity": 1.5}, "quantity"),
        (TARGETS, {**SHIFT, "quantity": 1_000_001}, "quantity"),
        (TARGETS, {**SHIFT, "quantity": 1, "part": "ZZ-1"}, "part"),
        (TARGETS, {**SHIFT, "quantity": 1, "span": "shift"}, "span"),
        (TARGETS, {"quantity": 1, "span": "month"}, "span"),
        (TARGETS, {"quantity": 1}, "from"),
        (TARGETS, {"quantity": 1, "from": SHIFT["to"], "to": SHIFT["from"]}, "to"),
        (TARGETS, {"quantity": 1, "from": SHIFT["from"], "to": "2026-04-11T06:00:00+01:00"}, "from"),
        (TARGETS, {"quantity": 1, "from": "2027-05-01T06:00:00+01:00", "to": "2027-05-02T06:00:00+01:00"}, "to"),
    ],
)
def test_what_cannot_be_meant_is_refused_by_name(refusing, path, body, parameter):
    answer = refusing.enter(path, **body)
    assert answer.status_code == 422
    assert [e["parameter"] for e in answer.json()["errors"]] == [parameter]
    assert refusing.told("notes")["items"] == refusing.told("targets")["items"] == []


def test_an_unknown_machine_is_none(refusing):
    assert refusing.enter("machines/N9/notes", text="x").status_code == 404
    assert refusing.enter("machines/N9/targets", span="shift", quantity=1).status_code == 404
