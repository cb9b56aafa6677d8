"""Facts over HTTP: rows, paging, CSV, spans, errors."""

from __future__ import annotations

import csv
import io

import pytest
from starlette.requests import Request

from swarfline.facts import Count
from swarfline.serve.paging import MOST_CSV, Window
from swarfline.serve.problems import RefusedError

from .works import cycle_starts

TABLES = ("conditions", "alarms", "gaps", "stops", "cycles", "counts", "tool-lives", "energy")


def pages(client, path, **params):
    """Every page of a table, by its links."""
    url, found = None, []
    while True:
        answer = client.get(url or f"/api/v1/{path}", params=None if url else params)
        assert answer.status_code == 200, answer.text
        found.append(answer.json()["items"])
        url = answer.json()["next"]
        if url is None:
            assert "link" not in answer.headers
            return found
        assert answer.headers["link"] == f'<{url}>; rel="next"'


@pytest.mark.parametrize("table", TABLES)
@pytest.mark.parametrize("limit", [1, 7])
def test_pages_are_the_whole_without_overlap(client, table, limit):
    whole = pages(client, f"machines/N1/{table}", limit=1000)
    found = pages(client, f"machines/N1/{table}", limit=limit)
    assert len(whole) == 1
    assert [row for page in found for row in page] == whole[0]


def test_facts_of_one_moment_stay_on_one_page(client):
    # number 40 counts a part and scrap in the same moment
    found = pages(client, "machines/N1/counts", limit=1)
    assert sorted({len(p) for p in found}) == [1, 2]


def test_a_cycle(get):
    row = get("machines/N1/cycles", limit=1)["items"][0]
    assert (row["start"], row["duration_s"], row["outcome"]) == ("2026-03-10T06:00:00+01:00", 170, "complete")
    # nothing is mapped that tells positioning: not known, not zero
    assert row["steps"]["positioning_s"] is None and row["steps"]["cutting_s"] == 120
    assert row["tools"][0]["load_peak_pct"] == 60 and row["strip"] is None
    detailed = get("machines/N1/cycles", limit=1, detail="strip")["items"][0]
    assert detailed["strip"][1] == {"offset_s": 10, "step": "cutting", "tool": "7"}


def test_every_cycle_is_there(get):
    assert len(get("machines/N1/cycles", limit=1000)["items"]) == len(cycle_starts()) == 110


def test_a_stop_with_its_reason(get):
    found = [s for s in get("machines/N1/stops", limit=1000)["items"] if s["long"]]
    assert [(s["condition"], s["reason"], s["length_s"]) for s in found] == [("fault", "Door switch", 1810)]


def test_gaps_and_alarms(get):
    assert get("machines/S1/gaps")["items"][0]["reason"] == "connection lost"
    assert get("machines/N1/alarms")["items"][0]["duration_s"] == 1800


LISTS = (
    *(f"machines/{'S1' if t == 'gaps' else 'N1'}/{t}" for t in (*TABLES, "tools")),
    *("machines", "oee", "losses", "cycle-trends", "tool-forecasts", "energy", "pace", "alerts", "servers"),
)


@pytest.mark.parametrize("path", LISTS)
def test_every_list_as_csv(client, get, path):
    by_suffix = client.get(f"/api/v1/{path}.csv")
    by_header = client.get(f"/api/v1/{path}", headers={"accept": "text/csv"})
    assert by_suffix.headers["content-type"] == "text/csv; charset=utf-8"
    assert by_suffix.text == by_header.text
    table = list(csv.reader(io.StringIO(by_suffix.text)))
    paged = {"limit": 1000} if "/" in path and not path.endswith("tools") else {}
    assert len(table) - 1 == len(get(path, **paged)["items"]) > 0
    assert all(len(line) == len(table[0]) for line in table)


def test_a_table_comes_whole_unless_pages_are_asked_for(client, get):
    assert get("machines/N1/conditions")["next"] is not None
    answer = client.get("/api/v1/machines/N1/conditions.csv")
    assert len(answer.text.splitlines()) - 1 > 200
    assert "link" not in answer.headers


def test_a_table_that_would_have_to_be_cut_is_refused():
    window = Window(Request({"type": "http"}), csv=True)
    many = [Count("N1", us, "total", 1) for us in range(MOST_CSV + 1)]
    assert window.take(lambda limit, after: many[: limit - 1]) == (many[:MOST_CSV], None)
    with pytest.raises(RefusedError, match="more than 100000 rows"):
        window.take(lambda limit, after: many[:limit])


@pytest.mark.parametrize("path", ["machines/N1/cycles/series", "plant", "machines/N1/now"])
def test_what_is_no_list_has_no_csv(client, path):
    assert client.get(f"/api/v1/{path}").status_code == 200
    refused = client.get(f"/api/v1/{path}.csv")
    assert (refused.status_code, refused.headers["content-type"]) == (404, "application/problem+json")
    assert "no CSV" in refused.json()["detail"]


def test_csv_pages_go_on_as_csv(client):
    first = client.get("/api/v1/machines/N1/cycles.csv", params={"limit": 100})
    following = first.headers["link"].removeprefix("<").partition(">")[0]
    second = client.get(following)
    assert second.headers["content-type"].startswith("text/csv")
    assert len(second.text.splitlines()) == 1 + 10


SPANS = (
    ({}, "2026-03-10T00:00:00+01:00", "2026-03-10T12:00:00+01:00"),
    ({"span": "shift"}, "2026-03-10T06:00:00+01:00", "2026-03-10T12:00:00+01:00"),
    ({"from": "shift"}, "2026-03-10T06:00:00+01:00", "2026-03-10T12:00:00+01:00"),
    ({"span": "week"}, "2026-03-09T00:00:00+01:00", "2026-03-10T12:00:00+01:00"),
    ({"span": "month"}, "2026-03-01T00:00:00+01:00", "2026-03-10T12:00:00+01:00"),
    ({"from": "2026-03-10T07:00:00Z"}, "2026-03-10T08:00:00+01:00", "2026-03-10T12:00:00+01:00"),
    (
        {"from": "week", "to": "2026-03-10T00:00:00+01:00"},
        "2026-03-09T00:00:00+01:00",
        "2026-03-10T00:00:00+01:00",
    ),
    ({"to": "2027-01-01T00:00:00Z"}, "2026-03-10T00:00:00+01:00", "2026-03-10T12:00:00+01:00"),
)


@pytest.mark.parametrize(("params", "start", "end"), SPANS)
def test_spans_end_at_the_present(get, params, start, end):
    found = get("oee", **params)
    assert (found["from"], found["to"], found["time_zone"]) == (start, end, "Europe/Madrid")


def test_a_plus_may_be_sent_as_it_is(client):
    found = client.get("/api/v1/oee?from=2026-03-10T08:00:00+01:00")
    assert found.json()["from"] == "2026-03-10T08:00:00+01:00"


WRONG = (
    ("oee?from=yesterday", 422, "from"),
    ("oee?from=2026-03-10", 422, "from"),
    ("oee?from=2026-03-10T10:00:00Z&to=2026-03-10T10:00:00Z", 422, "to"),
    ("oee?from=2026-03-11T00:00:00Z", 422, "from"),
    ("oee?from=2020-01-01T00:00:00Z", 422, "from"),
    ("oee?span=year", 422, "span"),
    ("energy-demand?from=2026-01-01T00:00:00Z", 422, "from"),
    ("oee?span=day&from=shift", 422, "span"),
    ("oee?by=colour", 422, "by"),
    ("oee?form=day", 422, "form"),
    ("oee?machine=N9", 404, "machine"),
    ("oee?cell=east", 404, "cell"),
    ("machines/N9/cycles", 404, "machine"),
    ("machines/N1/cycles?limit=0", 422, "limit"),
    ("machines/N1/cycles?limit=1001", 422, "limit"),
    ("machines/N1/cycles?cursor=MToy", 200, None),
    ("machines/N1/cycles?cursor=abc", 422, "cursor"),
    ("machines/N1/cycles/series?buckets=1", 422, "buckets"),
    ("nothing", 404, None),
)


@pytest.mark.parametrize(("path", "status", "parameter"), WRONG)
def test_errors_are_problem_documents(client, path, status, parameter):
    answer = client.get(f"/api/v1/{path}")
    assert answer.status_code == status
    if status == 200:
        return
    problem = answer.json()
    assert answer.headers["content-type"] == "application/problem+json"
    assert problem["status"] == status and problem["title"] and problem["detail"]
    assert problem["instance"] == answer.request.url.path
    assert parameter is None or [e["parameter"] for e in problem["errors"]] == [parameter]


def test_a_method_that_is_not_offered(client):
    answer = client.post("/api/v1/oee", json={}, headers={"host": "localhost"})
    assert answer.status_code == 405 and answer.json()["status"] == 405
    assert answer.headers["content-type"] == "application/problem+json"
