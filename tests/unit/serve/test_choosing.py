"""What a page is about, by its address."""

from __future__ import annotations

import pytest
from fastapi import FastAPI
from starlette.requests import Request

from swarfline.serve.page.choosing import choose
from swarfline.serve.problems import RefusedError
from swarfline.serve.times import parse, show


def about(app: FastAPI, query: str, default: str = "day"):
    scope = {"type": "http", "path": "/tools", "query_string": query.encode(), "headers": [], "method": "GET"}
    return choose(Request(scope), app.state.room, default, ("sort",))


def test_a_day_that_is_over_is_whole_and_has_neighbours(app):
    zone = app.state.room.zone
    found = about(app, "span=day&at=2026-03-09T12:00&machine=S1")
    assert show(found.asked.start_us, zone) == "2026-03-09T00:00:00+01:00"
    assert show(found.asked.end_us, zone) == "2026-03-10T00:00:00+01:00"
    assert found.complete
    before = about(app, found.before.partition("?")[2])
    assert show(before.asked.start_us, zone) == "2026-03-08T00:00:00+01:00"
    assert before.machine == "S1"
    after = about(app, found.after.partition("?")[2])
    assert after.asked.start_us == found.asked.end_us
    assert after.after is None or not after.complete


def test_the_present_span_ends_now(app):
    found = about(app, "")
    assert found.asked.end_us == app.state.room.now_us()
    assert "at=" not in found.address()


def test_own_times_are_the_plants_zone(app):
    found = about(app, "from=2026-03-09T08:00&to=2026-03-09T10%3A00&sort=oee&machine=")
    assert found.asked.interval == (parse("2026-03-09T08:00:00+01:00"), parse("2026-03-09T10:00:00+01:00"))
    assert found.machine is None and len(found.machines) == len(app.state.room.plant.machines)
    assert found.field(found.asked.start_us) == "2026-03-09T08:00"
    assert "sort=oee" in found.address()
    moved = about(app, found.before.partition("?")[2])
    assert moved.asked.interval == (parse("2026-03-09T06:00:00+01:00"), parse("2026-03-09T08:00:00+01:00"))


def test_an_address_leads_to_the_same_span(app):
    for query in ("span=week", "span=month&at=2026-02-03", "from=2026-03-09&to=2026-03-10", "span=shift"):
        found = about(app, query)
        again = about(app, found.address().partition("?")[2])
        assert again.asked.start_us == found.asked.start_us and again.kind == found.kind


@pytest.mark.parametrize(
    ("query", "name"),
    [
        ("span=fortnight", "span"),
        ("at=yesterday", "at"),
        ("from=2026-03-09T10:00&to=2026-03-09T08:00", "to"),
        ("from=2031-01-01", "from"),
        ("from=2020-01-01&to=2026-01-01", "from"),
        ("span=own", "from"),
        ("machine=X9", "machine"),
        ("cell=nowhere", "cell"),
    ],
)
def test_what_an_address_cannot_mean_is_told(app, query, name):
    with pytest.raises(RefusedError) as refused:
        about(app, query)
    assert refused.value.errors[0].parameter == name
