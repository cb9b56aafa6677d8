"""Studies and run-offs over HTTP, against the cycles of compared.py."""

from __future__ import annotations

import pytest

from swarfline.facts import STEPS
from swarfline.plant import load
from swarfline.serve import create_app
from swarfline.store import Batch, Store

from .client import Client
from .compared import AT, TWO, cycle, facts
from .works import HOUR, MINUTE, NOW, SECOND, START


@pytest.fixture(scope="module")
def get(tmp_path_factory):
    folder = tmp_path_factory.mktemp("study")
    (folder / "plant.toml").write_text(TWO, encoding="utf-8")
    store = Store.open(f"sqlite:///{folder / 'works.db'}")
    store.writer().commit(Batch(facts=facts(), seen_us=NOW))
    client = Client(create_app(load(folder / "plant.toml"), store, clock_us=lambda: NOW))

    def ask(path, status=200, **params):
        answer = client.get(f"/api/v1/{path}", params=params)
        assert answer.status_code == status, answer.text
        return answer.json() if "json" in answer.headers["content-type"] else answer.text

    yield ask
    store.close()


def test_before_and_after_a_moment(get):
    answer = get("studies", machine="N1", at=AT, program="O1201")
    assert answer["time_zone"] == "Europe/Madrid" and answer["coverage_pct"] == 100
    (row,) = answer["items"]
    assert (row["first"]["count"], row["second"]["count"]) == (107, 70)
    assert (row["second"]["held"], row["second"]["aborted"]) == (1, 1)
    assert (row["first"]["from"], row["first"]["to"]) == ("2026-03-10T00:00:00+01:00", AT)
    assert row["second"]["from"] == AT
    assert row["ruling"] == "faster" and row["words"].startswith("The second is faster by 2.0")
    assert row["mean_low_s"] < row["mean_difference_s"] < row["mean_high_s"] < 0
    assert row["shift_s"] == pytest.approx(-2)
    assert row["rank_exact"] is False and row["second_faster_pct"] > 90
    assert row["first"]["part"] == "PH-12" and row["first"]["programs"] == ["O1201"]


def test_steps_and_tools_of_a_study(get):
    (row,) = get("studies", machine="N1", at=AT, program="O1201")["items"]
    assert [p["name"] for p in row["pieces"]] == ["cutting", "tool_change", "other", "7"]
    pieces = {(p["kind"], p["name"]): p for p in row["pieces"]}
    assert pieces["tool", "7"]["difference_s"] == pytest.approx(row["mean_difference_s"])
    assert pieces["step", "cutting"]["difference_s"] == pytest.approx(row["mean_difference_s"])
    assert pieces["step", "other"]["difference_s"] == 0
    assert ("step", "positioning") not in pieces  # no signal tells it here


def test_each_program_and_part_is_a_study_of_its_own(get):
    rows = get("studies", machine="N1", at=AT)["items"]
    assert [(r["second"]["programs"], r["ruling"]) for r in rows] == [
        (["O1201"], "faster"),
        (["O1202"], "too_few"),
    ]
    assert rows[1]["words"] == "Not enough cycles: 0 and 9 steady ones; at least 8 of each are needed."
    assert rows[1]["first"]["mean_s"] is None and rows[1]["shift_s"] is None and rows[1]["pieces"] == []
    assert [r["second"]["part"] for r in get("studies", machine="N1", at=AT, part="X")["items"]] == ["X"]


def test_two_machines_are_compared_part_by_part(get):
    (row,) = get("studies", machine="N1", with_machine="N2", to=AT, **{"from": "day"})["items"]
    assert (row["first"]["machine"], row["second"]["machine"]) == ("N1", "N2")
    assert (row["first"]["programs"], row["second"]["programs"]) == (["O1201"], ["P7"])
    assert row["ruling"] == "faster" and row["shift_s"] == pytest.approx(-1)
    assert (row["first"]["coverage_pct"], row["second"]["coverage_pct"]) == (100, pytest.approx(100 * 2 / 3))


def test_two_programs_are_compared_over_one_span(get):
    (row,) = get("studies", machine="N1", program="O1201", with_program="O1202")["items"]
    assert (row["first"]["programs"], row["second"]["programs"]) == (["O1201"], ["O1202"])
    assert (row["first"]["count"], row["second"]["count"], row["ruling"]) == (178, 9, "faster")


def test_a_span_of_its_own_for_the_first_sample(get):
    params = {"first_from": "2026-03-10T06:00:00+01:00", "first_to": "2026-03-10T07:00:00+01:00", "from": AT}
    (row,) = get("studies", machine="N1", part="PH-12", **params)["items"]
    assert (row["first"]["count"], row["first"]["to"]) == (36, "2026-03-10T07:00:00+01:00")
    (other,) = get("studies", machine="N1", part="PH-12", **{"from": "2026-03-10T09:30:00+01:00"})["items"]
    assert other["first"]["from"] == "2026-03-10T07:00:00+01:00"  # as long, right before


@pytest.mark.parametrize(
    ("params", "named"),
    [
        ({"at": "noon"}, "at"),
        ({"at": "2026-03-11T09:00:00+01:00"}, "at"),
        ({"at": AT, "first_from": AT, "first_to": AT}, "at"),
        ({"first_from": AT}, "first_from"),
        ({"with_machine": "N2"}, "with_machine"),
        ({"with_program": "P7"}, "with_program"),
    ],
)
def test_selections_that_mean_nothing_are_refused(get, params, named):
    assert [e["parameter"] for e in get("studies", 422, **params)["errors"]] == [named]


def test_unknown_machines_are_not_found(get):
    assert "N9" in get("studies", 404, machine="N1", with_machine="N9")["detail"]
    assert "N9" in get("run-offs", 404, machine="N9")["detail"]


def test_a_run_off_counts_what_lay_between(get):
    (row,) = get("run-offs", machine="N1", part="PH-12", n=40)["items"]
    assert (row["asked"], row["count"], row["limit_s"], row["ruling"]) == (40, 40, 160, "capable")
    assert (row["held"], row["aborted"], row["partial"], row["other"]) == (1, 1, 0, 0)
    assert row["parts"] == 41
    assert row["index_low"] < row["index"] < row["index_high"]
    assert (row["longest_wait_s"], row["longest_wait_at"]) == (91, "2026-03-10T10:48:29+01:00")
    assert row["cutting_pct"] == pytest.approx(100 * (38 - 15) / 38, rel=1e-3)
    assert row["cautions"][-1] == (
        "The run was not without a break. Cycles in between that are not judged: 1 held, 1 aborted."
    )


def test_a_run_off_by_default_is_of_what_was_made_last(get):
    rows = {r["machine"]: r for r in get("run-offs")["items"]}
    assert (rows["N1"]["program"], rows["N1"]["part"], rows["N1"]["count"]) == ("O1202", "X", 9)
    assert (rows["N1"]["ruling"], rows["N1"]["limit_s"]) == ("no_limit", None)
    assert (rows["N2"]["program"], rows["N2"]["count"], rows["N2"]["coverage_pct"]) == ("P7", 50, 100)
    assert (rows["S1"]["program"], rows["S1"]["count"], rows["S1"]["from"]) == (None, 0, None)


def test_a_run_off_against_another_limit_and_until_another_time(get):
    params = {"limit_s": 40.9, "to": AT, "target": 1.0}
    (row,) = get("run-offs", machine="N1", **params)["items"]
    assert (row["limit_s"], row["target"], row["ruling"]) == (40.9, 1, "not_capable")
    assert row["over_count"] == 10 and row["over_low_pct"] < 20 < row["over_high_pct"]
    assert row["to"] < AT
    get("run-offs", 422, n=1)
    get("run-offs", 422, limit_s=0)


def test_a_run_off_since_a_moment(get):
    (row,) = get("run-offs", machine="N1", part="PH-12", **{"from": "2026-03-10T10:30:00+01:00"})["items"]
    assert (row["count"], row["held"], row["aborted"], row["ruling"]) == (20, 1, 1, "too_few")


def test_steady_cycles_are_looked_for_behind_many_held_ones(tmp_path):
    """S1 tells no load, so what it cuts is not known."""
    held = (0,) * STEPS.index("held") + (SECOND,)
    steady = [cycle("S1", START + n * MINUTE, 40 + n % 3, "O1201") for n in range(60)]
    late = [cycle("S1", START + HOUR + n * MINUTE, 40, "O1201", step_us=held) for n in range(200)]
    (tmp_path / "plant.toml").write_text(TWO, encoding="utf-8")
    store = Store.open(f"sqlite:///{tmp_path / 'works.db'}")
    store.writer().commit(Batch(facts=[*steady, *late], seen_us=NOW))
    client = Client(create_app(load(tmp_path / "plant.toml"), store, clock_us=lambda: NOW))
    (row,) = client.get("/api/v1/run-offs", params={"machine": "S1", "n": 30}).json()["items"]
    store.close()
    assert (row["program"], row["count"], row["ruling"], row["cutting_pct"]) == ("O1201", 30, "capable", None)


@pytest.mark.parametrize(("path", "column"), [("studies", "second_mean_s"), ("run-offs", "index_low")])
def test_rows_as_csv(get, path, column):
    lines = get(f"{path}.csv", machine="N1").splitlines()
    assert len(lines) > 1 and column in lines[0].split(",")
