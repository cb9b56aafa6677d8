"""Trends over HTTP: pieces of time, runs, smoothed times; on cycles made up for it."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

import pytest
from fastapi import FastAPI

from swarfline.facts import COMPLETE, STEPS, Cycle, ToolUse
from swarfline.measure.runs import RULES
from swarfline.serve import create_app
from swarfline.store import Batch, Store

from .client import Client
from .works import MIDNIGHT, MINUTE, NOW, SECOND, plant

DAY = 24 * 60 * MINUTE
BEGIN = MIDNIGHT - 16 * DAY
"""Sunday 22 February 2026, 00:00; the span ends on Tuesday 10 March at 12:00."""
EVERY = 30 * MINUTE
SLOWER_FROM = MIDNIGHT - 5 * DAY
SPAN = {"from": "2026-02-22T00:00:00+01:00", "to": "2026-03-10T12:00:00+01:00"}


def cycle(start: int, number: int) -> Cycle:
    """One cycle of about 160 s, and 8 s slower (tool 3 cutting) from SLOWER_FROM on; one in 50 is far off."""
    noise = (number * 7 % 11 - 5) * 100_000
    slower = 8 * SECOND if start >= SLOWER_FROM else 0
    stray = 90 * SECOND if number % 50 == 49 else 0
    steps = {"cutting": 120 * SECOND + slower, "tool_change": 10 * SECOND, "other": 30 * SECOND + noise + stray}
    length = sum(steps.values())
    tools = (
        ToolUse("7", 1, 60 * SECOND, 50 * SECOND),
        ToolUse("3", 2, length - 60 * SECOND, 70 * SECOND + slower),
    )
    step_us = tuple(steps.get(s, 0) for s in STEPS)
    return Cycle("N1", start, start + length, COMPLETE, "O1201", "PH-12", step_us=step_us, tools=tools)


@pytest.fixture(scope="module")
def app(tmp_path_factory: pytest.TempPathFactory) -> Iterator[FastAPI]:
    folder = tmp_path_factory.mktemp("trends")
    store = Store.open(f"sqlite:///{folder / 'works.db'}")
    starts = range(BEGIN - 60 * SECOND, NOW, EVERY)
    store.writer().commit(Batch(facts=[cycle(s, n) for n, s in enumerate(starts)], seen_us=NOW))
    yield create_app(plant(folder), store, clock_us=lambda: NOW)
    store.close()


@pytest.fixture(scope="module")
def client(app: FastAPI) -> Client:
    return Client(app)


@pytest.fixture(scope="module")
def ask(client: Client):
    def get(path: str, **params: object):
        answer = client.get(f"/api/v1/{path}", params={**SPAN, **params})
        assert answer.status_code == 200, answer.text
        return answer.json()["items"]

    return get


def test_the_whole_span_is_one_row(ask):
    (row,) = ask("cycle-trends")
    assert row["key"] == ""
    assert (row["from"], row["to"]) == (SPAN["from"], SPAN["to"])
    assert row["count"] == 793


@pytest.mark.parametrize(
    ("by", "keys"),
    [
        ("day", [f"2026-02-{d}" for d in range(22, 29)] + [f"2026-03-{d:02}" for d in range(1, 11)]),
        ("week", ["2026-W08", "2026-W09", "2026-W10", "2026-W11"]),
        ("month", ["2026-02", "2026-03"]),
    ],
)
def test_pieces_of_time_tile_the_span_and_part_the_cycles(ask, by, keys):
    rows = ask("cycle-trends", by=by)
    assert [r["key"] for r in rows] == keys
    assert all(a["to"] == b["from"] for a, b in pairwise(rows))
    assert (rows[0]["from"], rows[-1]["to"]) == (SPAN["from"], SPAN["to"])
    assert sum(r["count"] for r in rows) == ask("cycle-trends")[0]["count"]


def test_a_cycle_belongs_to_the_piece_in_which_it_starts(ask):
    counts = [r["count"] for r in ask("cycle-trends", by="day")]
    assert counts == [49, *[48] * 15, 24], "the first day has the one that was running at its start too"


def test_each_piece_has_limits_of_its_own(ask):
    rows = {r["key"]: r for r in ask("cycle-trends", by="day")}
    before, after = rows["2026-03-04"], rows["2026-03-05"]
    assert after["median_s"] - before["median_s"] == pytest.approx(8, abs=0.2)
    assert after["centre_s"] == pytest.approx(after["mean_s"])


def test_pieces_without_cycles_have_no_row(ask):
    assert ask("cycle-trends", by="day", machine="S1") == []


def test_runs_are_told_with_their_words_and_newest_places(ask):
    signals = {s["rule"]: s for s in ask("cycle-trends")[0]["signals"]}
    assert {1, 2} <= set(signals)
    assert all(s["says"] == RULES[rule] for rule, s in signals.items())
    newest = signals[2]["newest"]
    assert len(newest) == 10 < signals[2]["count"]
    assert newest == sorted(newest, key=lambda p: p["start"])
    assert newest[-1]["start"] > "2026-03-05"


def test_the_first_rule_tells_the_points_beyond(ask):
    row = ask("cycle-trends")[0]
    first = next(s for s in row["signals"] if s["rule"] == 1)
    assert first["count"] == row["beyond_count"]
    assert first["newest"] == row["beyond"][-10:]


def test_smoothed_times_beyond_their_limits_are_told(ask):
    row = ask("cycle-trends")[0]
    assert row["smoothed_beyond_count"] >= len(row["smoothed_beyond"]) > 0
    for point in row["smoothed_beyond"]:
        assert not point["lcl_s"] <= point["ewma_s"] <= point["ucl_s"]


def test_the_autocorrelation_is_told(ask):
    assert -1 < ask("cycle-trends", by="month")[0]["autocorrelation"] < 1


def test_rows_of_time_as_csv(client):
    text = client.get("/api/v1/cycle-trends.csv", params={**SPAN, "by": "month"}).text
    header, *rows = text.splitlines()
    assert header.startswith("key,from,to,machine,program,part,count")
    assert [r.split(",")[0] for r in rows] == ["2026-02", "2026-03"]


@pytest.mark.parametrize("by", ["shift", "machine", "year"])
def test_other_pieces_are_refused(client, by):
    answer = client.get("/api/v1/cycle-trends", params={"by": by})
    assert answer.status_code == 422
    assert "day" in answer.json()["errors"][0]["allowed"]


def test_a_level_step_is_told_with_date_size_and_certainty(ask):
    (row,) = ask("level-steps")
    assert (row["machine"], row["program"], row["part"]) == ("N1", "O1201", "PH-12")
    assert row["at"].startswith("2026-03-05T00:")
    assert row["last_before"] < row["at"]
    assert row["size_s"] == pytest.approx(8, abs=0.1)
    assert row["size_pct"] == pytest.approx(100 * row["size_s"] / row["before_s"])
    assert row["after_s"] - row["before_s"] == pytest.approx(row["size_s"])
    assert row["low_s"] < row["size_s"] < row["high_s"] < row["low_s"] + 0.5
    assert row["p"] < 1e-9
    assert row["cycles_before"] + row["cycles_after"] == 793


def test_its_steps_and_tools_sum_to_its_size(ask):
    (row,) = ask("level-steps")
    steps = row["steps"]
    assert steps["positioning_s"] is None, "this machine has no signal for it"
    assert steps["cutting_s"] == pytest.approx(8)
    assert sum(s for s in steps.values() if s is not None) == pytest.approx(row["size_s"], abs=1e-9)
    assert sum(t["difference_s"] for t in row["tools"]) + row["no_tool_s"] == pytest.approx(row["size_s"])
    assert row["tools"][0]["tool"] == "3"
    assert row["tools"][0]["cutting_s"] == pytest.approx(8)


def test_small_level_steps_can_be_left_out(ask):
    assert ask("level-steps", least_pct=6) == []
    assert ask("level-steps", program="O9999") == []


def test_level_steps_as_csv(client):
    header, *rows = client.get("/api/v1/level-steps.csv", params=SPAN).text.splitlines()
    assert "size_s" in header and "steps_cutting_s" in header
    assert len(rows) == 1
