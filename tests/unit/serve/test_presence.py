"""What is told of machines and servers that are there, silent, or were never heard of."""

from __future__ import annotations

import pytest

from swarfline.serve import create_app
from swarfline.store import Batch, Store

from .client import Client
from .works import GAP_AT, NOW, SECOND, now_of, plant, status, works


def test_a_machine_now(get):
    found = get("machines/N1/now")
    assert (found["condition"], found["for_s"], found["linked"]) == ("waiting", 10, True)
    assert {"signal": "spindle_load", "value": 12.5, "unit": "%"} in found["values"]


def test_a_silent_collector_leaves_nothing_live(tmp_path):
    app, store = works(tmp_path, clock_us=lambda: NOW + 31 * SECOND)
    client = Client(app)
    found = client.get("/api/v1/machines/N1/now").json()
    assert (found["condition"], found["linked"], found["values"], found["cycle"]) == (
        "unobserved",
        False,
        [],
        None,
    )
    assert found["since"] == "2026-03-10T12:00:00+01:00"
    assert client.get("/api/v1/servers").json()["items"][0]["state"] == "unknown"
    page = client.get("/").text
    assert "unobserved" in page and "L1" not in page.partition("</main>")[0].partition("Making")[2]
    store.close()


@pytest.mark.parametrize("linked", [True, False])
def test_a_lost_link(tmp_path, linked):
    app, store = works(tmp_path)
    lost = now_of("N1", "unobserved" if linked else "producing", GAP_AT[0], linked=linked)
    store.writer().commit(Batch(now={"N1": lost}))
    found = Client(app).get("/api/v1/machines/N1/now").json()
    since = "2026-03-10T08:00:00+01:00" if linked else "2026-03-10T12:00:00+01:00"
    assert (found["condition"], found["since"], found["values"]) == ("unobserved", since, [])
    store.close()


def test_never_heard_of(tmp_path):
    store = Store.open(f"sqlite:///{tmp_path / 'empty.db'}")
    client = Client(create_app(plant(tmp_path), store, clock_us=lambda: NOW))
    found = client.get("/api/v1/machines/N1/now").json()
    assert (found["condition"], found["at"], found["since"], found["for_s"]) == ("unobserved", None, None, None)
    oee = client.get("/api/v1/oee").json()
    assert oee["coverage_pct"] == 0 and oee["items"][0]["figures"]["oee"]["value"] is None
    assert client.get("/api/v1/tool-forecasts").json()["items"] == []
    assert client.get("/api/v1/servers").json()["items"][0]["state"] == "unknown"
    assert "never heard of" in client.get("/").text
    assert client.get("/machines/N1").status_code == 200
    store.close()


def test_the_present_is_the_servers_where_its_clock_rules(tmp_path):
    _, store = works(tmp_path)
    known = plant(tmp_path)
    ruled = known.model_copy(
        update={"servers": tuple(s.model_copy(update={"clock": "server"}) for s in known.servers)}
    )
    client = Client(create_app(ruled, store, clock_us=lambda: NOW + 10**12))
    assert client.get("/api/v1/plant").json()["now"] == "2026-03-10T12:00:00+01:00"
    store.close()


def test_a_server(get):
    (row,) = get("servers")["items"]
    assert (row["state"], row["clock_offset_s"], row["refused"]) == (
        "connected",
        0.0025,
        {"N1/power": "BadNodeIdUnknown"},
    )
    assert row["machines"] == ["N1", "S1"]


def test_a_server_that_waits(tmp_path):
    app, store = works(tmp_path)
    waiting = status(state="waiting", last_error="no answer", next_attempt_us=NOW + 5 * SECOND)
    store.writer().commit(Batch(servers={"line": waiting}, seen_us=NOW))
    client = Client(app)
    (row,) = client.get("/api/v1/servers").json()["items"]
    assert (row["state"], row["next_attempt"]) == ("waiting", "2026-03-10T12:00:05+01:00")
    page = client.get("/connections").text
    assert "waiting for the next attempt" in page and "no answer" in page and "12:00:05" in page
    ready = client.get("/health/ready")
    assert ready.status_code == 200 and ready.json()["servers"] == [{"server": "line", "state": "waiting"}]
    store.close()


def test_what_could_not_be_used_is_told_as_text(tmp_path):
    app, store = works(tmp_path)
    odd = status(
        ignored={"wrong_type": 3, "no_value": 1}, ignored_last={"N1/power": ["wrong_type", "<script>x</script>"]}
    )
    store.writer().commit(Batch(servers={"line": odd}, seen_us=NOW))
    client = Client(app)
    (row,) = client.get("/api/v1/servers").json()["items"]
    assert row["ignored"] == {"wrong_type": 3, "no_value": 1}
    assert row["ignored_last"] == {"N1/power": {"kind": "wrong_type", "value": "<script>x</script>"}}
    page = client.get("/connections").text
    assert "wrong type" in page and "&lt;script&gt;x&lt;/script&gt;" in page and "<script>x" not in page
    store.close()


def test_not_ready_without_a_database(app, client, monkeypatch):
    def fails():
        raise OSError("disk gone")

    monkeypatch.setattr(app.state.room.queries, "reachable", fails)
    answer = client.get("/health/ready")
    assert answer.status_code == 503 and answer.headers["content-type"] == "application/problem+json"
    assert "disk gone" not in answer.text
    assert client.get("/health/live").json() == {"status": "alive"}


def test_a_failure_is_told_without_its_insides(app, client, monkeypatch):
    def fails(*_: object, **__: object):
        raise OSError("secret path")

    monkeypatch.setattr(app.state.room.queries, "servers", fails)
    answer = client.get("/api/v1/servers")
    assert answer.status_code == 500 and answer.json()["status"] == 500
    assert "secret" not in answer.text and "content-security-policy" in answer.headers
    assert "secret" not in client.get("/connections", headers={"accept": "text/html"}).text


def test_alerts(get):
    assert [a["subject"] for a in get("alerts", standing="true")["items"]] == ["1/7"]
    detail = get("alerts")["items"][0]["detail"]
    assert detail == {"pot": "7", "cycles_left": 5, "limit_at": "2026-03-10T12:05:00+01:00"}, "in the plant's zone"
    assert get("alerts", machine="S1")["items"] == []
    assert get("alerts", to="2026-03-10T06:00:00Z")["items"] == []


def test_capability(get):
    full, bare = (get(f"machines/{m}") for m in ("N1", "S1"))
    missing = {f["family"]: f["missing"] for f in bare["figures"] if not f["can"]}
    lacking = {f["family"]: f["missing"] for f in full["figures"] if not f["can"]}
    assert lacking == {"steps": ["positioning"]}
    assert missing["energy"] == ["energy or power"] and "conditions" not in missing and "cycles" not in missing
    assert (full["cycle_bounds"], bare["cycle_bounds"]) == ("program_state", "cycle_count")
    assert full["cycle_bounds_why"].startswith("the best of those mapped: program_state, ")
    assert full["steps"] == ["held", "other", "tool_change", "cutting"] and bare["steps"] == ["held", "other"]
    assert (full["steps_known"], bare["steps_known"]) == ("load", "not")
