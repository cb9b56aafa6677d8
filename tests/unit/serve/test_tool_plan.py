"""/tool-plan over the works' morning, and over a magazine of its own."""

from __future__ import annotations

import pytest

from swarfline.facts import ToolLife
from swarfline.store import Batch

from .client import Client
from .works import NOW, START, works


def test_to_the_end_of_the_shift(get):
    found = get("tool-plan", machine="N1")
    (stop,) = found["items"]
    assert (stop["machine"], stop["after_cycles"], stop["at"][:19]) == ("N1", 5, "2026-03-10T12:16:20"), (
        "104 cycles ended in 20400 s"
    )
    assert stop["tools"] == [
        {"pot": "1", "tool": "7", "name": "Face mill 50", "given_up_pct": 0.0, "cycles_given_up": 0}
    ]
    (about,) = found["machines"]
    assert (about["until"], about["stops"], about["stops_needed"]) == ("2026-03-10T14:00:00+01:00", 1, 1)
    assert about["proven"] is True and 35 < about["horizon_cycles"] < 42 and about["left_out"] == []


def test_for_some_cycles_or_hours(get):
    assert get("tool-plan", machine="N1", cycles=5)["items"] == [], "it lasts for five"
    assert [s["after_cycles"] for s in get("tool-plan", machine="N1", cycles=206)["items"]] == [5, 105, 205]
    long = get("tool-plan", machine="N1", hours=24)
    assert long["machines"][0]["until"] == "2026-03-11T12:00:00+01:00"
    assert [s["after_cycles"] for s in long["items"]] == [5, 105]


def test_a_machine_of_which_nothing_is_known(get):
    (about,) = get("tool-plan", machine="S1")["machines"]
    assert about["horizon_cycles"] is about["stops"] is about["proven"] is None
    assert {m["machine"] for m in get("tool-plan")["machines"]} == {"N1", "S1"}


@pytest.mark.parametrize(
    "wrong", [{"hours": 2, "cycles": 9}, {"cycles": 0}, {"hours": 0}, {"most_given_up_pct": 101}, {"cycles": 6000}]
)
def test_wrong_horizons_are_told(client, wrong):
    assert client.get("/api/v1/tool-plan", params=wrong).status_code == 422


@pytest.fixture
def ask(tmp_path):
    """The works with more tools in N1; tool 7 is the one that its cycles use, each once."""
    app, store = works(tmp_path)

    def tool(pot, used, limit, number="7"):
        return ToolLife("N1", pot, START, NOW, number, pot, f"tool {pot}", used=used, limit=limit, open=True)

    lives = [tool("2", 80.0, 100.0), tool("3", 0.0, None), tool("4", 0.0, 0.5), tool("5", 3.0, 9.0, "8")]
    store.writer().commit(Batch(facts=lives))

    def asked(**params):
        return Client(app).get("/api/v1/tool-plan", params={"machine": "N1", **params}).json()

    yield asked
    store.close()


def test_tools_are_changed_together_where_that_gives_up_little_enough(ask):
    def stops(**params):
        return [(s["after_cycles"], [t["pot"] for t in s["tools"]]) for s in ask(cycles=50, **params)["items"]]

    assert stops() == [(5, ["1", "2"])]
    assert stops(most_given_up_pct=15) == [(5, ["1", "2"])]
    assert stops(most_given_up_pct=14.9) == [(5, ["1"]), (20, ["2"])]
    (stop,) = ask(cycles=50)["items"]
    assert [(t["given_up_pct"], t["cycles_given_up"]) for t in stop["tools"]] == [(0.0, 0), (15.0, 15)]


def test_tools_that_cannot_be_planned_for_are_named_with_the_reason(ask):
    (about,) = ask()["machines"]
    assert about["left_out"] == [
        {"pot": "3", "tool": "7", "why": "its limit is not known"},
        {"pot": "4", "tool": "7", "why": "a whole life lasts for no cycle"},
    ], "tool 8 is not used and needs no plan"


def test_a_cautious_plan_of_what_is_certain_has_the_same_stops(ask):
    cautious, usual = ask(cycles=50, cautious=True)["items"], ask(cycles=50)["items"]
    assert [{**stop, "at": None} for stop in cautious] == [{**stop, "at": None} for stop in usual]


def test_a_cautious_stop_comes_at_the_early_end_of_its_first_tool(get, client):
    (tool,) = get("machines/N1/tools")["items"]
    first, second = get("tool-plan", machine="N1", cautious=True, hours=24)["items"]
    usual, later = get("tool-plan", machine="N1", hours=24)["items"]
    assert first["at"] == tool["limit_at_low"] < usual["at"] == tool["limit_at"]
    assert first["at"] < second["at"] < later["at"], "of the life after that too"
    shown = client.get("/tools?machine=N1&cautious=true").text
    assert f"<b>{first['at'][11:16]}</b>" in shown and f"<b>{usual['at'][11:16]}</b>" not in shown
