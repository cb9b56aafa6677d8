"""What people entered outlives a rebuild of the facts, and is written beside a collector without loss."""

from __future__ import annotations

import asyncio
import threading
from pathlib import Path

import httpx
import pytest
from collect.line import START, history, plant_of

from swarfline.collect import Pipeline
from swarfline.facts import FACT_KINDS
from swarfline.rebuild import rebuild
from swarfline.serve import create_app
from swarfline.store import Store

HEADERS = {"host": "127.0.0.1"}
SHIFTS = [
    {"name": "all", "start": "00:00", "end": "00:00", "days": ["mon", "tue", "wed", "thu", "fri", "sat", "sun"]}
]
NEVER = START + 10**12


def ask(app, method, path, **more):
    async def send():
        transport = httpx.ASGITransport(app)
        async with httpx.AsyncClient(transport=transport, base_url="http://127.0.0.1") as http:
            return await http.request(method, f"/api/v1/{path}", **more)

    answer = asyncio.run(send())
    assert answer.status_code in (200, 201), answer.text
    return answer.json()


@pytest.fixture
def works(tmp_path: Path):
    """A plant of one machine, its history halfway, and the application over it."""
    plant = plant_of(tmp_path, "N1")
    store = Store.open("sqlite:///works.db", tmp_path / "plant.toml")
    told = history("N1", 25)
    pipeline = Pipeline(plant, store)
    pipeline.commit(pipeline.take(told[: len(told) // 2], START))
    reached = store.queries.latest_us("N1")
    yield plant, store, pipeline, told[len(told) // 2 :], create_app(plant, store, clock_us=lambda: reached)
    store.close()


def enter_both(app):
    stops = ask(app, "GET", "machines/N1/stops?span=week")["items"]
    longest = max(stops, key=lambda s: s["length_s"])
    reason = {"who": "Ana", "stop": longest["start"], "reason": "Ladder"}
    ask(app, "POST", "machines/N1/stop-reasons", json=reason, headers=HEADERS)
    last = ask(app, "GET", "machines/N1/counts?span=week&limit=1000")["items"][-1]["time"]
    scrap = {"who": "Ana", "time": last, "kind": "scrap", "quantity": 3}
    ask(app, "POST", "machines/N1/judgements", json=scrap, headers=HEADERS)
    return longest["start"]


def shown(app):
    stops = ask(app, "GET", "machines/N1/stops?span=week&limit=1000")["items"]
    parts = ask(app, "GET", "oee?span=week")["items"][0]["parts"]
    return [s["start"] for s in stops if s["reason"] == "Ladder"], parts


def test_entries_outlive_facts_worked_out_anew(works):
    plant, store, _, _, app = works
    before = shown(app)
    stop = enter_both(app)
    entered = shown(app)
    good, scrap = before[1]["good"], before[1]["scrap"]
    # this machine judges each part itself, so none is unjudged before or after
    assert entered == ([stop], {**before[1], "good": good - 3, "scrap": scrap + 3})
    # all that the facts are is gone, and comes back from the journal
    with store.engine.begin() as connection:
        connection.exec_driver_sql("DELETE FROM conditions")
        connection.exec_driver_sql("DELETE FROM counts")
    assert shown(app)[0] == []
    told = rebuild(plant, store, ["N1"])
    assert told["N1"]["condition"].added > 0
    assert shown(app) == entered
    lists = [ask(app, "GET", f"{name}?span=week")["items"] for name in ("stop-entries", "judgements")]
    assert [(len(rows), rows[0]["who"]) for rows in lists] == [(1, "Ana"), (1, "Ana")]


def test_entries_are_taken_while_a_collector_writes(works, tmp_path):
    plant, store, pipeline, rest, app = works
    failed: list[BaseException] = []

    def collect():
        try:
            for begin in range(0, len(rest), 40):
                pipeline.commit(pipeline.take(rest[begin : begin + 40], START))
        except BaseException as problem:
            failed.append(problem)

    # as of `swarfline run --only serve`: a process of its own has a store of its own
    other = Store.open("sqlite:///works.db", tmp_path / "plant.toml")
    apart = create_app(plant, other, clock_us=app.state.room.clock_us)
    stop = ask(apart, "GET", "machines/N1/stops?span=week")["items"][0]["start"]
    writing = threading.Thread(target=collect)
    writing.start()
    entered = 0
    while writing.is_alive() or entered < 20:
        body = {"who": f"person {entered}", "stop": stop, "reason": f"reason {entered}"}
        assert ask(apart, "POST", "machines/N1/stop-reasons", json=body, headers=HEADERS)["holds"]
        entered += 1
    writing.join(60)
    other.close()
    assert failed == []
    rows = ask(app, "GET", "stop-entries?span=week&limit=1000")["items"]
    assert sorted(r["who"] for r in rows) == sorted(f"person {n}" for n in range(entered))
    # nothing of the collector's was lost either: the journal gives what is there
    found = rebuild(plant, store, ["N1"])["N1"]
    assert {k: (e.changed, e.added, e.removed) for k, e in found.items()} == dict.fromkeys(
        (kind.kind for kind in FACT_KINDS), (0, 0, 0)
    )
    assert len(store.readings(0, NEVER)) == len(history("N1", 25))
