"""Losses in money and in mixed parts, over HTTP: the morning of works.py, but from 10:30 on N1 makes VC-30.

Until 10:30 the part is PH-12 (160 s per item), then VC-30 (320 s). Waits of 10 s after each cycle: 80 before
10:00, of which 6 lie in the break and the last belongs to the stop of the fault; 30 after 10:30. N1 costs 90 EUR
an hour, S1 has no rate.
"""

from dataclasses import replace

import pytest

from swarfline.facts import Count, Cycle
from swarfline.plant import load
from swarfline.serve import create_app
from swarfline.store import Batch, Store

from .client import Client
from .works import FAULT_AT, NOW, PLANT, facts, status

MONEY = """
[figures]
currency = "EUR"

[energy]
price_per_kwh = 0.25
co2_kg_per_kwh = 0.4

[[parts]]
id = "VC-30"
planned_cycle_time_s = 320
"""
RATED = PLANT.replace('id = "N1"\n', 'id = "N1"\nhourly_rate = 90\n').replace(
    "[[parts]]", f"{MONEY}\n[[parts]]", 1
)


def later_part(fact):
    begun = fact.start_us if isinstance(fact, Cycle) else fact.time_us if isinstance(fact, Count) else 0
    return replace(fact, part="VC-30") if begun >= FAULT_AT[1] else fact


@pytest.fixture(scope="module")
def ask(tmp_path_factory):
    folder = tmp_path_factory.mktemp("rated")
    (folder / "plant.toml").write_text(RATED, encoding="utf-8")
    store = Store.open(f"sqlite:///{folder / 'rated.db'}")
    store.writer().commit(Batch(facts=[later_part(f) for f in facts()], servers={"line": status()}, seen_us=NOW))
    client = Client(create_app(load(folder / "plant.toml"), store, clock_us=lambda: NOW))

    def get(path, **params):
        answer = client.get(f"/api/v1/{path}", params=params)
        assert answer.status_code == 200, answer.text
        return answer.json()["items"]

    yield get
    store.close()


def losses(rows, key):
    return {(r["loss"], r["length"]): r for r in rows if r["key"] == key}


def test_losses_in_parts_by_the_part_of_each_stretch(ask):
    found = losses(ask("losses"), "N1")
    assert found["fault", "long"]["parts"] == 1800 / 160
    assert found["waiting", "short"]["time_s"] == 730 + 300
    assert found["waiting", "short"]["parts"] == pytest.approx(730 / 160 + 300 / 320, rel=1e-12)
    assert found["good_parts", ""]["parts"] == 108 and found["scrap_parts", ""]["parts"] == 2


@pytest.mark.parametrize("by", ["part", "day", "shift"])
def test_parts_add_up_in_any_cut(ask, by):
    whole, cut = ask("losses", machine="N1"), ask("losses", machine="N1", by=by)
    for name in ("fault", "waiting", "good_parts", "slow_running"):
        sums = [sum(r["parts"] for r in rows if r["loss"] == name) for rows in (whole, cut)]
        assert sums[0] == pytest.approx(sums[1], rel=1e-12), name


def test_losses_in_money(ask):
    found = losses(ask("losses"), "N1")
    assert found["fault", "long"]["money"] == 45
    assert {r["currency"] for r in found.values()} == {"EUR"}
    busy = found["fault", "long"]["planned_busy_time_s"]
    assert sum(r["money"] for r in found.values()) == pytest.approx(90 * busy / 3600, rel=1e-12)


def test_without_a_rate_money_is_not_known(ask):
    found = losses(ask("losses"), "S1")
    assert found["waiting", "long"]["time_s"] > 0 and found["waiting", "long"]["money"] is None
    plant = losses(ask("losses", by="plant"), "plant")
    assert plant["waiting", "long"]["money"] is None, "a sum with an unknown term"
    assert plant["fault", "long"]["money"] == 45, "S1 had no fault: nothing is unknown"


def test_reasons_have_parts_and_money(ask):
    rows = ask("losses", machine="N1", split="reason")
    (door,) = [r for r in rows if r["reason"] == "Door switch"]
    assert (door["money"], door["parts"]) == (1810 / 40, 1810 / 160)
    assert [r["loss"] for r in rows] == ["stop_loss", "stop_loss", "good_parts", "scrap_parts", "slow_running"]


def test_energy_costs_and_emits(ask):
    (row,) = ask("energy")
    assert row["energy"]["value"] == pytest.approx(24)
    assert (row["cost"], row["currency"], row["co2_kg"]) == (pytest.approx(6), "EUR", pytest.approx(9.6))
