"""The reasons that rules of the plant file give, in stops and losses."""

from __future__ import annotations

import pytest

from swarfline.plant import load
from swarfline.serve import create_app
from swarfline.store import Store

from .client import Client
from .works import NOW, PLANT, fill

RULES = """
[[stop_reasons]]
reason = "Loading"
conditions = ["waiting"]
max_length_s = 10

[[stop_reasons]]
reason = "Guards"
alarm_text = "door *"
machines = ["N1"]
min_length_s = 600.5
"""


@pytest.fixture(scope="module")
def ruled(tmp_path_factory: pytest.TempPathFactory):
    folder = tmp_path_factory.mktemp("ruled")
    path = folder / "plant.toml"
    path.write_text(PLANT + RULES, encoding="utf-8")
    store = Store.open(f"sqlite:///{folder / 'works.db'}")
    fill(store)
    yield Client(create_app(load(path), store, clock_us=lambda: NOW))
    store.close()


def stops(client, machine):
    rows = client.get(f"/api/v1/machines/{machine}/stops?limit=1000").json()["items"]
    return {(row["condition"], row["reason"], row["reason_by"]) for row in rows}


def test_each_stop_tells_its_reason_and_who_told_it(ruled, client):
    assert stops(client, "N1") == {("waiting", "", "none"), ("fault", "Door switch", "alarm")}
    assert stops(ruled, "N1") == {("waiting", "Loading", "rule"), ("fault", "Guards", "rule")}
    assert stops(ruled, "S1") == {("waiting", "", "none")}


def test_losses_by_reason_follow(ruled):
    rows = ruled.get("/api/v1/losses?split=reason&machine=N1").json()["items"]
    lost = {row["reason"]: row["time_s"] for row in rows if row["loss"] == "stop_loss"}
    # 21 540 s of planned busy time, 18 700 s of them producing
    assert lost == {"Guards": 1810, "Loading": 21_540 - 18_700 - 1810}
