"""Tool history, replacement and loads over HTTP, of lives that are reckoned by hand.

N1, tool 7 (limit 100 cycles): 12 lives of one day each begin from 1 to 12 February 2026. Five fail, locked at 40,
55, 62, 70 and 80; one breaks at 50, told by an alarm alone; four reach 100; one is set back at 30; one is removed
at 20. A first life of 90 was not seen from its beginning; one is open at 60. S1 has one life of that tool, open.
"""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from swarfline.facts import ABORTED, COMPLETE, Alarm, Condition, Cycle, StepPiece, ToolLife, ToolUse
from swarfline.measure.survival import Lifetime
from swarfline.measure.weibull import fit
from swarfline.plant import load
from swarfline.serve import create_app
from swarfline.store import Batch, Store

from .client import Client
from .schema import errors
from .works import HOUR, MIDNIGHT, MINUTE, NOW, PLANT

DAY = 24 * HOUR
FIRST = MIDNIGHT - 37 * DAY
"""1 February 2026"""
ENDS = [(40, "lock"), (55, "lock"), (62, "lock"), (70, "lock"), (80, "lock"), (50, "break")]
ENDS += [(100, ""), (100, ""), (100, ""), (100, ""), (30, ""), (20, "replaced")]
OPEN_AT = FIRST + 12 * DAY
CYCLE_US = 10 * MINUTE


def life(start, used, machine="N1", **more):
    fields = {"pot": "1", "name": "Face mill", "basis": "count", "limit": 100.0, "whole": True, **more}
    return ToolLife(machine, "1", start, more.pop("end_us", start + DAY), "7", **{**fields, "used": float(used)})


def lives() -> list[ToolLife]:
    found = [life(FIRST - DAY, 90, whole=False, reason="reset")]
    for number, (used, how) in enumerate(ENDS):
        reason = "replaced" if how == "replaced" else "reset"
        found.append(life(FIRST + number * DAY, used, locked=how == "lock", reason=reason))
    open_life = ToolLife(
        "N1", "1", OPEN_AT, NOW, "7", "1", "Face mill", "count", 60.0, 100.0, 90.0, whole=True, open=True
    )
    return [
        *found,
        open_life,
        ToolLife("S1", "1", FIRST, NOW, "7", "1", "Face mill", open=True, whole=True, used=5.0),
    ]


def ran(start, load, outcome=COMPLETE, strip=()):
    use = ToolUse("7", 1, MINUTE, MINUTE, load, 2 * load, 1.0)
    return Cycle("N1", start, start + CYCLE_US, outcome, "O1201", "PH-12", tools=(use,), strip=strip)


def facts():
    found = lives()
    breaks_at = FIRST + 6 * DAY - HOUR
    found.append(Alarm("N1", breaks_at, breaks_at + MINUTE, "C101", "Tool breakage detected"))
    found.append(ran(breaks_at - CYCLE_US, 30.0, ABORTED, (StepPiece(0, "cutting", "7"),)))
    # three lives at the limit: 100 cycles each, load 30 to 36; the present one: 60 cycles, load 30 to 42
    for number in (6, 7, 8, 9):
        start = FIRST + number * DAY
        found += [ran(start + n * CYCLE_US, 30 + 0.06 * n) for n in range(100)]
    found += [ran(OPEN_AT + n * CYCLE_US, 30 + 0.2 * n) for n in range(60)]
    found.append(Condition("N1", FIRST - DAY, NOW, "waiting", open=True))
    return found


def opened(folder, facts):
    path = folder / "plant.toml"
    costs = '[figures]\ncurrency = "EUR"\n\n'
    costs += "[tool_changes]\nplanned_cost = 10\nunplanned_cost = 60\n"
    path.write_text(PLANT.replace("[[shifts]]", costs + "\n[[shifts]]", 1), encoding="utf-8")
    store = Store.open(f"sqlite:///{folder / 'works.db'}")
    store.writer().commit(Batch(facts=facts, seen_us=NOW))
    return Client(create_app(load(path), store, clock_us=lambda: NOW)), store


@pytest.fixture(scope="module")
def client(tmp_path_factory) -> Iterator[Client]:
    made, store = opened(tmp_path_factory.mktemp("lives"), facts())
    yield made
    store.close()


@pytest.fixture(scope="module")
def ask(client):
    def get(path, **params):
        answer = client.get(f"/api/v1/{path}", params=params)
        assert answer.status_code == 200, answer.text
        return answer.json()

    return get


FAILED = [40, 55, 62, 70, 80, 50]
CENSORED = [100, 100, 100, 100, 30, 20, 60]
FIT = fit([*(Lifetime(u, True) for u in FAILED), *(Lifetime(u, False) for u in CENSORED)])


def test_a_history_over_the_last_year(ask):
    answer = ask("tool-history")
    n1, s1 = answer["items"]
    assert answer["from"] == "2025-03-10T12:00:00+01:00"
    assert (n1["machines"], n1["tool"], n1["name"], n1["basis"], n1["unit"]) == (
        ["N1"], "7", "Face mill", "count", "1",
    )  # fmt: skip
    assert (n1["lives"], n1["open"], n1["not_whole"], n1["broken"], n1["limit"]) == (14, 1, 1, 1, 100)
    assert n1["ends"] == {"at_limit": 4, "failed": 6, "early": 1, "removed": 1, "unknown": 0}
    assert (n1["used_minimum"], n1["used_median"], n1["used_maximum"]) == (20, 66, 100)
    assert (n1["given_up"]["numerator"], n1["given_up"]["denominator"]) == (1200 - 807 + 30 - 30, 1200)
    assert (s1["lives"], s1["open"], s1["used_median"], s1["given_up"]["value"]) == (1, 1, None, None)
    assert s1["survival_to_limit_pct"] is None


def test_survival_to_the_limit(ask):
    """Of 13 whole lives: at risk at 40 are 11, at 50 10, 55 9, 62 7 (60 is open), 70 6, 80 5."""
    n1, _ = ask("tool-history")["items"]
    expected = 10 / 11 * 9 / 10 * 8 / 9 * 6 / 7 * 5 / 6 * 4 / 5
    assert n1["survival_to_limit_pct"] == pytest.approx(100 * expected)
    assert n1["survival_to_limit_low_pct"] < 100 * expected < n1["survival_to_limit_high_pct"]


def test_the_fit_takes_what_did_not_fail_as_censored(ask):
    n1, s1 = (row["fit"] for row in ask("tool-history")["items"])
    assert (n1["state"], n1["failures"], n1["censored"]) == ("fitted", 6, 7)
    assert (n1["shape"], n1["scale"]) == pytest.approx(FIT.law)
    assert [n1["shape_low"], n1["shape_high"]] == pytest.approx(FIT.shape_interval)
    assert [n1["scale_low"], n1["scale_high"]] == pytest.approx(FIT.scale_interval)
    assert (s1["state"], s1["shape"], s1["scale_high"]) == ("not_enough_data", None, None)


def test_early_changes_as_failures(ask):
    n1, _ = ask("tool-history", early="failure")["items"]
    assert (n1["fit"]["failures"], n1["fit"]["censored"]) == (7, 6)


def test_only_lives_that_began_in_the_span(ask):
    rows = ask("tool-history", **{"from": "2026-02-03T00:00:00+01:00", "to": "2026-02-05T00:00:00+01:00"})["items"]
    assert [(r["machines"], r["lives"], r["ends"]["failed"]) for r in rows] == [(["N1"], 2, 2)]


def test_machines_together(ask):
    (row,) = ask("tool-history", by="plant")["items"]
    assert (row["machines"], row["lives"], row["open"]) == (["N1", "S1"], 15, 2)
    (row,) = ask("tool-history", by="plant", machine="S1")["items"]
    assert (row["machines"], row["lives"]) == (["S1"], 1)


def test_the_replacement_interval_of_the_plant_files_costs(ask):
    answer = ask("tool-replacement")
    n1, s1 = answer["items"]
    assert (answer["planned_cost"], answer["unplanned_cost"], answer["currency"]) == (10, 60, "EUR")
    assert (n1["state"], n1["failures"], n1["censored"], n1["limit"]) == ("replace", 6, 7, 100)
    assert n1["interval_low"] < n1["interval"] < 100 and n1["beyond_seen"] is False
    assert n1["cost_per_unit"] < n1["cost_per_unit_at_limit"] and n1["cost_per_unit"] < n1["cost_per_unit_to_end"]
    assert n1["saving_pct"] == pytest.approx(100 * (1 - n1["cost_per_unit"] / n1["cost_per_unit_to_end"]))
    assert (s1["state"], s1["interval"], s1["saving_pct"]) == ("not_enough_data", None, None)


def test_other_costs_by_query(ask):
    answer = ask("tool-replacement", unplanned_cost=11)
    assert (answer["planned_cost"], answer["unplanned_cost"]) == (10, 11)
    assert answer["items"][0]["state"] == "run_to_end" and answer["items"][0]["interval"] is None
    dear, dearer = (ask("tool-replacement", unplanned_cost=n)["items"][0]["interval"] for n in (60, 600))
    assert dearer < dear


def test_costs_that_are_none_are_refused(client):
    for cost in ("0", "-1"):
        answer = client.get("/api/v1/tool-replacement", params={"planned_cost": cost})
        assert answer.status_code == 422 and answer.json()["errors"][0]["parameter"] == "planned_cost"


def test_a_load_that_rises_faster_than_in_earlier_lives(ask):
    answer = ask("tool-loads")
    (row,) = answer["items"]
    assert answer["at"] == "2026-03-10T12:00:00+01:00"
    assert (row["machine"], row["tool"], row["program"], row["cycles"], row["every"]) == (
        "N1",
        "7",
        "O1201",
        60,
        1,
    )
    assert row["share_used_pct"] == 60
    assert (row["baseline"], row["earlier_lives"], row["sign"]) == ("earlier_lives", 3, "rising")
    assert row["load_mean_pct"] == pytest.approx(30 + 0.2 * 56.5)
    assert row["expected_mean_pct"] == pytest.approx(30 + 0.06 * 56.5, rel=0.01)
    assert row["rise_pct"] == pytest.approx(100 * (row["load_mean_pct"] / row["expected_mean_pct"] - 1))
    assert row["peak_rise_pct"] == pytest.approx(row["rise_pct"])


def test_the_broken_tool_is_the_one_in_the_spindle_when_its_alarm_aborts_the_cycle(tmp_path):
    breaks_at = FIRST + DAY - HOUR
    other = ToolLife(
        "N1", "2", FIRST, FIRST + DAY, "8", "2", "Drill", used=30.0, limit=100.0, whole=True, reason="reset"
    )
    made, store = opened(
        tmp_path,
        [
            life(FIRST, 40, reason="reset"),
            other,
            Alarm("N1", breaks_at, breaks_at + MINUTE, "C101", "Tool breakage detected"),
            ran(breaks_at - CYCLE_US, 30.0, ABORTED, (StepPiece(0, "cutting", "7"),)),
        ],
    )
    rows = made.get("/api/v1/tool-history").json()["items"]
    store.close()
    assert [(r["tool"], r["broken"], r["ends"]["early"]) for r in rows] == [("7", 1, 0), ("8", 0, 1)]


def test_earlier_lives_are_shared_out_by_their_own_limits(tmp_path):
    """Load grows by half over a life, of 60 cycles before and of 120 now."""
    start = OPEN_AT - DAY
    made, store = opened(
        tmp_path,
        [
            life(start, 60, limit=60.0, reason="reset"),
            *(ran(start + n * CYCLE_US, 30 * (1 + 0.5 * n / 60)) for n in range(60)),
            ToolLife("N1", "1", OPEN_AT, NOW, "7", used=60.0, limit=120.0, whole=True, open=True),
            *(ran(OPEN_AT + n * CYCLE_US, 30 * (1 + 0.5 * n / 120)) for n in range(60)),
        ],
    )
    (row,) = made.get("/api/v1/tool-loads").json()["items"]
    store.close()
    assert (row["baseline"], row["share_used_pct"], row["sign"]) == ("earlier_lives", 50, "steady")
    assert row["rise_pct"] == pytest.approx(0, abs=1) and row["slope_pct"] == pytest.approx(0, abs=2)


def test_the_answers_fit_their_description(client):
    described = client.get("/api/openapi.json").json()
    for path in ("/api/v1/tool-history", "/api/v1/tool-replacement", "/api/v1/tool-loads"):
        schema = described["paths"][path]["get"]["responses"]["200"]["content"]["application/json"]["schema"]
        assert list(errors(client.get(path).json(), schema, described)) == []
        table = client.get(f"{path}.csv").text
        assert table.count("\n") == 1 + len(client.get(path).json()["items"])
