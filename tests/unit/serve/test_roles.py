"""Every route states what role it needs, and is kept to it."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

import pytest

from swarfline.serve.roles import ANYONE, NEEDS, needs
from swarfline.users import ENGINEER, OPERATOR, ROLES, VIEWER, allows

from .signed import Works

STATED = {route: role for role, routes in NEEDS.items() for route in routes}


@pytest.fixture(scope="module")
def plant(tmp_path_factory):
    made = Works(tmp_path_factory.mktemp("roles"))
    yield made
    made.store.close()


@pytest.fixture(scope="module")
def browsers(plant):
    return {role: plant.by_session(role) for role in ROLES}


def routes_of(router: Any, prefix: str = "") -> Iterator[str]:
    """``METHOD /path`` of every route, those of included routers too."""
    for route in router.routes:
        if hasattr(route, "original_router"):
            yield from routes_of(route.original_router, prefix + route.include_context.prefix)
        else:
            yield from (f"{method} {prefix}{route.path}" for method in route.methods if method != "HEAD")


def test_the_walk_finds_what_is_described(plant):
    found = set(routes_of(plant.app))
    described = plant.app.openapi()["paths"]
    told = {f"{method.upper()} {path}" for path, methods in described.items() for method in methods}
    assert told <= found
    assert {"GET /", "GET /assets/{digest}/{name}", "POST /sign-in"} <= found - told


def test_every_route_states_what_it_needs_and_nothing_else_is_stated(plant):
    stated = [*ANYONE, *STATED]
    assert len(stated) == len(set(stated)) == len(ANYONE) + sum(map(len, NEEDS.values()))
    assert set(stated) == set(routes_of(plant.app)), "state the role of each new route in serve/roles.py"


def test_what_changes_something_is_not_for_viewers():
    own = {"POST /sign-in", "POST /sign-out", "POST /account/password", "POST /account/end"}
    for route, role in STATED.items():
        assert role != VIEWER or route.startswith("GET ") or route in own, route


def concrete(route: str) -> tuple[str, str]:
    method, path = route.split(" ", 1)
    return method, re.sub(r"{\w+}", "N1", path)


@pytest.mark.parametrize("route", [r for r in STATED if r not in ("POST /sign-out", "POST /account/end")])
def test_nobody_and_lesser_roles_are_refused_before_anything_is_read(plant, browsers, route):
    method, path = concrete(route)
    # a body that cannot be read: whoever is let through is told that, the others are not
    told = {"content": b"\xff{", "headers": {"content-type": "application/json"}} if method == "POST" else {}
    nobody = plant.nobody().request(
        method, path, **{**told, "headers": {**told.get("headers", {}), "accept": "*/*"}}
    )
    page = not path.startswith(("/api/v1", "/health", "/metrics", "/api/openapi"))
    assert nobody.status_code in ((303, 401) if page else (401, 303)), path
    assert "Pump" not in nobody.text and "N1" not in nobody.text.replace(path, "")
    for role in ROLES:
        if not allows(role, STATED[route]):
            refused = browsers[role].request(method, path, **told)
            assert refused.status_code == 403 and "needs the role" in refused.text


@pytest.mark.parametrize("role", ROLES)
def test_each_role_may_what_is_stated(plant, browsers, role):
    for route, needed in STATED.items():
        method, path = concrete(route)
        if not allows(role, needed) or "live" in path or method == "POST":
            continue
        assert browsers[role].request(method, path).status_code not in (303, 401, 403), route


def test_what_is_not_stated_is_for_engineers_only(plant, browsers):
    assert needs("GET", "/api/v1/nothing") == needs("DELETE", "/") == needs("OPTIONS", "/") == ENGINEER
    assert plant.nobody().get("/api/v1/nothing").status_code == 401
    assert browsers["viewer"].get("/api/v1/nothing").status_code == 403
    assert browsers["engineer"].get("/api/v1/nothing").status_code == 404


def test_other_spellings_of_an_address_open_nothing(plant):
    for path in ("//api/v1/plant", "/api/v1/plant/", "/API/v1/plant", "/api/v1//plant", "/api/v1/plant.csv",
                 "/assets/../api/v1/plant", "/assets/x/..%2f..%2fapi/v1/plant", "/health/live/../ready",
                 "/api%2fv1/plant", "/health/live.csv"):  # fmt: skip
        assert plant.nobody().get(path, headers={"accept": "*/*"}).status_code in (303, 401, 404), path


def test_what_is_open_is_open(plant):
    nobody = plant.nobody()
    assert nobody.get("/health/live").status_code == nobody.get("/sign-in").status_code == 200
    assert nobody.get("/favicon.ico").status_code == 307
    style = re.search(r'href="(/assets/[^"]+page\.css)"', nobody.get("/sign-in").text)
    assert nobody.get(style[1]).status_code == 200


def test_head_needs_what_get_needs(plant, browsers):
    assert plant.nobody().head("/api/v1/plant").status_code == 401
    assert browsers["viewer"].head("/api/v1/plant").status_code == 200


def test_tables_need_what_their_lists_need(plant, browsers):
    assert plant.nobody().get("/api/v1/machines.csv").status_code == 401
    assert browsers["viewer"].get("/api/v1/machines.csv").headers["content-type"].startswith("text/csv")


def test_a_tag_seen_before_opens_nothing(plant, browsers):
    tag = browsers["viewer"].get("/api/v1/plant").headers["etag"]
    assert browsers["viewer"].get("/api/v1/plant", headers={"if-none-match": tag}).status_code == 304
    assert plant.nobody().get("/api/v1/plant", headers={"if-none-match": tag}).status_code == 401


def test_operators_enter_and_viewers_do_not(plant, browsers):
    told = {"stop": "2026-03-10T10:00:00+01:00", "reason": "Guard"}
    assert browsers["viewer"].enter("machines/N1/stop-reasons", **told).status_code == 403
    assert browsers["viewer"].get("/api/v1/stop-entries").json()["items"] == []
    for role in (OPERATOR, ENGINEER):
        assert browsers[role].enter("machines/N1/stop-reasons", **told).status_code == 201
