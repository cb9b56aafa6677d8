"""Parts judged later over HTTP: what they change, the trace they leave, and what is refused.

N1 made 110 parts in the morning, 108 of them not scrap; the two that are were counted at 08:02:50 (number 40) and
10:32:50 (number 80).
"""

from __future__ import annotations

from itertools import pairwise

import pytest

from swarfline.facts import TOTAL, Count
from swarfline.store import Batch

from .entering import Writer
from .works import HOUR, MIDNIGHT, MINUTE, works

MORNING = {"from": "2026-03-10T06:00:00+01:00", "to": "2026-03-10T12:00:00+01:00"}
FIRST_HOUR = {"from": "2026-03-10T06:00:00+01:00", "to": "2026-03-10T07:00:00+01:00"}
N1 = "machines/N1/judgements"


def row(writing, path="oee", **params):
    return next(r for r in writing.told(path, **params)["items"] if r["key"] == "N1")


def parts(writing, **params):
    found = row(writing, **params)["parts"]
    assert found["good"] + found["scrap"] == found["produced"]
    return found["good"], found["scrap"], found["unjudged"], found["rework"]


def test_scrap_entered_later_corrects_what_was_counted(writing):
    assert parts(writing) == (108, 2, 108, 0)
    made = writing.entered(N1, **MORNING, kind="scrap", quantity=8, part="PH-12", note="bore too wide")
    before = {"produced": 110, "good": 108, "scrap": 2, "unjudged": 108, "rework": 0}
    after = {"produced": 110, "good": 100, "scrap": 10, "unjudged": 100, "rework": 0}
    assert made == {
        "number": 1, "machine": "N1", **MORNING, "who": "Ana", "note": "bore too wide",
        "entered": "2026-03-10T12:00:00+01:00", "undone": None, "undone_by": None, "undone_note": None,
        "part": "PH-12", "kind": "scrap", "quantity": 8, "applied": 8, "before": before, "after": after,
    }  # fmt: skip
    assert parts(writing) == (100, 10, 100, 0)
    assert writing.told("judgements")["items"] == [made]


def test_figures_follow(writing):
    writing.entered(N1, **MORNING, kind="scrap", quantity=8)
    found = row(writing)["figures"]
    assert found["quality_ratio"]["value"] == pytest.approx(100 / 110, rel=1e-12)
    assert (found["oee"]["numerator"], found["oee"]["denominator"]) == (160 * 100, 21_540)
    lost = {r["loss"]: r["time_s"] for r in writing.told("losses", machine="N1")["items"]}
    assert (lost["good_parts"], lost["scrap_parts"]) == (160 * 100, 160 * 10)
    energy = row(writing, "energy")
    assert energy["good"] == 100
    assert energy["energy_per_good_part"]["value"] == pytest.approx(24 * 1 / 100, rel=1e-12)


def test_rework_is_counted_apart_and_good_takes_scrap_back(writing):
    writing.entered(N1, **MORNING, kind="rework", quantity=5)
    assert parts(writing) == (108, 2, 108, 5)
    made = writing.entered(N1, **MORNING, kind="good", quantity=2, who="Luis")
    assert (made["before"]["scrap"], made["after"]["scrap"], made["after"]["rework"]) == (2, 0, 5)
    assert parts(writing) == (110, 0, 108, 5)


@pytest.mark.parametrize("by", ["machine", "day", "shift", "part", "cell", "plant"])
def test_every_cut_adds_up_to_the_same(writing, by):
    writing.entered(N1, **MORNING, kind="scrap", quantity=7)
    writing.entered(N1, **FIRST_HOUR, kind="scrap", quantity=7)
    assert sum(r["parts"]["scrap"] for r in writing.told("oee", by=by)["items"]) == 16


def test_halves_of_the_time_add_up_to_the_whole(writing):
    # the first leaves less in the last hour, so that more of the second falls to the hours before
    writing.entered(N1, **{**MORNING, "from": "2026-03-10T11:00:00+01:00"}, kind="scrap", quantity=20)
    writing.entered(N1, **{**MORNING, "from": "2026-03-10T06:30:00+01:00"}, kind="scrap", quantity=60)
    writing.entered(N1, **{**MORNING, "to": "2026-03-10T08:00:00+01:00"}, kind="good", quantity=11)
    # each asked for alone, so that each must find the entries that reach into one another
    edges = ["06:00:00", "06:17:50", "07:00:00", "08:02:50", "08:02:51", "11:00:00", "12:00:00"]
    times = [f"2026-03-10T{edge}+01:00" for edge in edges]
    pieces = [parts(writing, **{"from": a, "to": b}) for a, b in pairwise(times)]
    assert tuple(map(sum, zip(*pieces, strict=True))) == parts(writing) == (110 - 71, 71, 110 - 71 - 11, 0)


def test_a_time_means_the_last_parts_made_by_then(writing):
    at = "2026-03-10T09:00:00+01:00"
    made = writing.entered(N1, time=at, kind="scrap", quantity=2)
    assert (made["from"], made["to"]) == ("2026-03-10T08:56:50+01:00", "2026-03-10T09:00:00.000001+01:00")
    # the next ones go further back: those two are scrap already
    assert writing.entered(N1, time=at, kind="scrap", quantity=1)["from"] == "2026-03-10T08:53:50+01:00"
    assert writing.entered(N1, time=at, kind="good", quantity=4)["from"] == "2026-03-10T08:02:50+01:00"


def test_more_than_there_are_is_refused_clearly(writing):
    writing.entered(N1, **MORNING, kind="scrap", quantity=100)
    for kind, quantity, there in (("scrap", 9, 8), ("rework", 111, 110), ("good", 103, 102)):
        answer = writing.enter(N1, **MORNING, kind=kind, quantity=quantity)
        (error,) = answer.json()["errors"]
        assert (answer.status_code, error["parameter"], error["allowed"]) == (422, "quantity", f"1 to {there}")
        assert f"of 110 PH-12 made there {there} are" in error["detail"]
        assert writing.enter(N1, **MORNING, kind=kind, quantity=there).status_code == 201
        writing.enter(f"entries/{writing.told('judgements')['items'][-1]['number']}/undo")
    assert parts(writing) == (8, 102, 8, 0)


@pytest.fixture
def two_days(tmp_path):
    """The works in which N1 made 40 parts in the shift of the day before too, the last at 13:30."""
    made, store = works(tmp_path)
    day_before = MIDNIGHT - 24 * HOUR
    counts = [Count("N1", day_before + 13 * HOUR + n * 30 * MINUTE // 40, TOTAL, 1, "PH-12") for n in range(1, 41)]
    store.writer().commit(Batch(facts=counts))
    yield Writer(made)
    store.close()


def test_a_time_reaches_back_to_the_start_of_its_shift_only(two_days):
    answer = two_days.enter(N1, time="2026-03-10T11:59:00+01:00", kind="scrap", quantity=120)
    (error,) = answer.json()["errors"]
    assert (answer.status_code, error["allowed"]) == (422, "1 to 107")
    assert error["detail"].startswith(
        "of 109 PH-12 made in the shift or day since 2026-03-10 06:00 107 are not scrap"
    )
    assert error["detail"].endswith("tell the time when the last of them was made")
    # between shifts the one that ended is meant, up to the very start of the next
    for time in ("2026-03-09T14:00:00+01:00", "2026-03-10T02:00:00+01:00", "2026-03-10T06:00:00+01:00"):
        assert "of 40 PH-12" in two_days.enter(N1, time=time, kind="scrap", quantity=41).json()["detail"]
    made = two_days.entered(N1, time="2026-03-09T14:00:00+01:00", kind="scrap", quantity=40)
    assert (made["applied"], made["from"]) == (40, "2026-03-09T13:00:45+01:00")
    assert parts(two_days)[1] == 2, "nothing of the day after is scrap for it"


def test_a_time_in_whose_shift_nothing_was_made(two_days):
    answer = two_days.enter(N1, time="2026-03-10T06:00:30+01:00", kind="scrap", quantity=1)
    assert answer.status_code == 422
    assert "nothing was made in the shift or day since 2026-03-10 06:00; for parts made before" in answer.text


def test_undoing_brings_back_what_was_before(writing):
    writing.entered(N1, **MORNING, kind="scrap", quantity=8)
    assert writing.enter("entries/1/undo", who="Luis").status_code == 200
    assert parts(writing) == (108, 2, 108, 0)
    (told,) = writing.told("judgements")["items"]
    assert (told["undone_by"], told["applied"], told["before"], told["after"]) == ("Luis", None, None, None)


def test_what_a_later_entry_counts_on_is_undone_after_it(writing):
    writing.entered(N1, **MORNING, kind="scrap", quantity=8)
    writing.entered(N1, **MORNING, kind="good", quantity=9)
    answer = writing.enter("entries/1/undo")
    assert (answer.status_code, answer.json()["status"]) == (409, 409)
    assert "Entry 2 counts on entry 1" in answer.json()["detail"]
    assert [writing.enter(f"entries/{n}/undo").status_code for n in (2, 1)] == [200, 200]
    assert parts(writing) == (108, 2, 108, 0)


GOOD = {**MORNING, "kind": "scrap", "quantity": 1, "who": "Ana"}
WRONG = (
    ({"who": None}, "who"),
    ({"kind": "broken"}, "kind"),
    ({"kind": None}, "kind"),
    ({"quantity": 0}, "quantity"),
    ({"quantity": -1}, "quantity"),
    ({"quantity": 1.5}, "quantity"),
    ({"quantity": "1"}, "quantity"),
    ({"quantity": True}, "quantity"),
    ({"quantity": 10**30}, "quantity"),
    ({"quantity": None}, "quantity"),
    ({"part": "VC-30"}, "part"),
    ({"part": 12}, "part"),
    ({"time": "2026-03-10T09:00:00+01:00"}, "time"),
    ({"from": None}, "from"),
    ({"from": None, "to": None, "time": "2026-03-10T06:00:00+01:00"}, "part"),
    ({"from": None, "to": None, "time": "2026-03-10T06:00:00+01:00", "part": "PH-12"}, "part"),
    ({"from": None, "to": None, "time": "2026-03-10T06:03:00+01:00", "quantity": 2}, "quantity"),
    ({"from": None, "to": None, "time": "2026-03-10T13:00:00+01:00"}, "time"),
)


@pytest.mark.parametrize(("change", "parameter"), WRONG)
def test_what_cannot_be_meant_is_refused_and_named(refusing, change, parameter):
    body = {k: v for k, v in {**GOOD, **change}.items() if v is not None}
    answer = refusing.post("/api/v1/machines/N1/judgements", json=body, headers={"host": "localhost"})
    assert answer.status_code == 422, answer.text
    assert parameter in [e["parameter"] for e in answer.json()["errors"]]
    assert refusing.told("judgements")["items"] == []


def test_a_machine_that_made_nothing(writing):
    answer = writing.enter("machines/S1/judgements", **MORNING, kind="scrap", quantity=1)
    assert answer.json()["errors"][0]["allowed"] == "nothing was made there"


def test_an_undoing_that_names_no_entry(writing):
    assert [writing.enter(f"entries/{n}/undo").status_code for n in ("0", "x", 10**30)] == [422, 422, 422]


def test_entries_are_tables_too(writing):
    writing.entered(N1, **MORNING, kind="scrap", quantity=8)
    lines = writing.get("/api/v1/judgements.csv").text.splitlines()
    assert len(lines) == 2 and "before_scrap" in lines[0]
    assert (
        writing.post("/api/v1/machines/N1/judgements.csv", json=GOOD, headers={"host": "localhost"}).status_code
        == 404
    )
