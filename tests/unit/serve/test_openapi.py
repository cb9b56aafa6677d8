"""OpenAPI is true: it names every route and no other, and real answers fit it."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from fastapi.routing import APIRoute

from swarfline.serve.page.reference import parameters

from .client import Client
from .schema import errors
from .works import works

DOCS = Path(__file__).parents[3] / "docs"
PATHS = (
    "/api/v1/plant",
    "/api/v1/machines",
    "/api/v1/machines/{machine_id}",
    "/api/v1/machines/{machine_id}/now",
    "/api/v1/machines/{machine_id}/conditions",
    "/api/v1/machines/{machine_id}/alarms",
    "/api/v1/machines/{machine_id}/gaps",
    "/api/v1/machines/{machine_id}/stops",
    "/api/v1/machines/{machine_id}/cycles",
    "/api/v1/machines/{machine_id}/cycles/series",
    "/api/v1/machines/{machine_id}/counts",
    "/api/v1/machines/{machine_id}/tools",
    "/api/v1/machines/{machine_id}/tool-lives",
    "/api/v1/machines/{machine_id}/energy",
    "/api/v1/oee",
    "/api/v1/kpis",
    "/api/v1/losses",
    "/api/v1/cycle-trends",
    "/api/v1/level-steps",
    "/api/v1/planned-cycles",
    "/api/v1/tool-forecasts",
    "/api/v1/tool-history",
    "/api/v1/tool-replacement",
    "/api/v1/tool-loads",
    "/api/v1/energy",
    "/api/v1/energy-demand",
    "/api/v1/energy-per-cycle",
    "/api/v1/pace",
    "/api/v1/studies",
    "/api/v1/run-offs",
    "/api/v1/lots",
    "/api/v1/tool-plan",
    "/api/v1/stop-entries",
    "/api/v1/judgements",
    "/api/v1/notes",
    "/api/v1/targets",
    "/api/v1/alerts",
    "/api/v1/alerts/{number}",
    "/api/v1/notifications",
    "/api/v1/servers",
    "/api/v1/definitions",
    "/api/v1/live",
    "/health/live",
    "/health/ready",
    "/metrics",
)
WRITING = (
    "/api/v1/machines/{machine_id}/stop-reasons",
    "/api/v1/machines/{machine_id}/judgements",
    "/api/v1/machines/{machine_id}/notes",
    "/api/v1/machines/{machine_id}/targets",
    "/api/v1/entries/{number}/undo",
    "/api/v1/alerts/{number}/acknowledge",
    "/api/v1/alerts/{number}/unacknowledge",
    "/api/v1/alerts/{number}/shelve",
    "/api/v1/alerts/{number}/unshelve",
)
ANSWERING = [p for p in PATHS if p not in ("/api/v1/live", "/metrics")]


def filled(path, machine):
    return path.replace("{machine_id}", machine).replace("{number}", "1")


@pytest.fixture(scope="module")
def described(client: Client):
    return client.get("/api/openapi.json").json()


def test_described_and_served_are_the_same(described, client):
    assert set(described["paths"]) == {*PATHS, *WRITING}
    for path in ANSWERING:
        assert client.get(filled(path, "N1")).status_code == 200


@pytest.mark.parametrize("path", ANSWERING)
@pytest.mark.parametrize("machine", ["N1", "S1"])
def test_answers_fit_their_description(described, client, path, machine):
    answer = client.get(filled(path, machine))
    schema = described["paths"][path]["get"]["responses"]["200"]["content"]["application/json"]["schema"]
    assert list(errors(answer.json(), schema, described)) == []


@pytest.mark.parametrize("path", ["/api/v1/oee?by=x", "/api/v1/machines/none/now", "/api/v1/nothing"])
def test_problems_fit_their_description(described, client, path):
    schema = {"$ref": "#/components/schemas/ProblemDocument"}
    assert list(errors(client.get(path).json(), schema, described)) == []


def test_the_check_itself_finds_what_is_wrong(described):
    schema = {"$ref": "#/components/schemas/PlantShape"}
    assert list(errors({"name": 1, "more": 2}, schema, described))


def test_every_route_and_parameter_says_what_it_is(described):
    for path, methods in described["paths"].items():
        for route in methods.values():
            assert route.get("description"), path
            members = parameters(route, described["components"]["schemas"])
            assert all(p.get("description") for p in members), path
            assert ("requestBody" in route) is any(p["in"] == "body" for p in members)


def test_no_answer_speaks_of_microseconds(described):
    names = {n for s in described["components"]["schemas"].values() for n in s.get("properties", {})}
    assert not [n for n in names if n.endswith("_us")]


def test_only_what_people_enter_is_written(described):
    methods = {(path, method) for path, found in described["paths"].items() for method in found}
    assert methods == {(path, "get") for path in PATHS} | {(path, "post") for path in WRITING}


ENTERED = (
    ("machines/N1/stop-reasons", {"stop": "2026-03-10T10:00:00+01:00", "reason": "Guard"}),
    ("machines/N1/judgements", {"time": "2026-03-10T10:00:00+01:00", "kind": "scrap", "quantity": 1}),
    ("machines/N1/notes", {"text": "Coolant topped up"}),
    ("machines/N1/targets", {"span": "shift", "quantity": 150}),
    ("entries/1/undo", {}),
    ("alerts/1/acknowledge", {}),
    ("alerts/1/unacknowledge", {}),
    ("alerts/1/shelve", {"minutes": 30}),
    ("alerts/1/unshelve", {}),
)


@pytest.mark.parametrize("wanted", [True, False])
def test_what_is_entered_fits_its_description(described, writing, wanted):
    for template, (path, body) in zip(WRITING, ENTERED, strict=True):
        answer = writing.enter(path, **(body if wanted else {"colour": "red"}))
        documents = described["paths"][template]["post"]["responses"]
        (schema,) = (kind["schema"] for kind in documents[str(answer.status_code)]["content"].values())
        assert list(errors(answer.json(), schema, described)) == []
        assert (answer.status_code < 300) is wanted
    names = ("stop-entries", "judgements", "notes", "targets")
    listed = [described["paths"][f"/api/v1/{name}"]["get"] for name in names]
    for name, route in zip(names, listed, strict=True):
        schema = route["responses"]["200"]["content"]["application/json"]["schema"]
        assert list(errors(writing.told(name), schema, described)) == []


def test_what_a_guard_refuses_is_described(described):
    for path in WRITING:
        assert {"403", "404", "409", "413", "415", "422", "503"} <= set(
            described["paths"][path]["post"]["responses"]
        )


def test_docs_name_every_route(described):
    text = (DOCS / "api.md").read_text(encoding="utf-8")
    told = set(re.findall(r"`(GET|POST) (/\S+)`", text))
    assert told == {(method.upper(), path) for path, methods in described["paths"].items() for method in methods}


def test_docs_name_every_member_of_what_is_entered(described):
    text = (DOCS / "api.md").read_text(encoding="utf-8")
    bodies = ("StopReasonBody", "JudgementBody", "NoteBody", "TargetBody", "Undoing")
    bodies += ("AcknowledgeBody", "UnacknowledgeBody", "ShelveBody", "UnshelveBody")
    names = {n for b in bodies for n in described["components"]["schemas"][b]["properties"]}
    assert names <= set(re.findall(r"`(\w+)`", text))


def test_docs_name_every_parameter(described):
    text = (DOCS / "api.md").read_text(encoding="utf-8")
    names = {
        p["name"]
        for methods in described["paths"].values()
        for route in methods.values()
        for p in route.get("parameters", ())
        if p["in"] == "query"
    }
    assert names <= set(re.findall(r"`(\w+)`", text))


def test_pages_are_not_part_of_it(tmp_path):
    app, store = works(tmp_path)
    hidden = {r.path for r in app.routes if isinstance(r, APIRoute) and not r.include_in_schema}
    assert {"/", "/machines/{machine_id}", "/connections", "/api"} <= hidden
    store.close()


def test_it_is_described_before_the_first_request(tmp_path):
    """Requests run in several threads; describing silences warnings process-wide, so it may not race."""
    app, store = works(tmp_path)
    described = app.openapi_schema
    store.close()
    assert described is not None
