"""Weeks and months around the turn of the year, over HTTP, on a works that has told nothing."""

from datetime import datetime

import pytest

from swarfline.calendar import to_us
from swarfline.serve import create_app
from swarfline.store import Store

from .client import Client
from .works import plant


@pytest.fixture(scope="module")
def ask(tmp_path_factory):
    folder = tmp_path_factory.mktemp("year")
    store = Store.open(f"sqlite:///{folder / 'year.db'}")
    now = to_us(datetime.fromisoformat("2027-01-05T12:00:00+01:00"))
    client = Client(create_app(plant(folder), store, clock_us=lambda: now))

    def get(path, **params):
        answer = client.get(f"/api/v1/{path}", params=params)
        assert answer.status_code == 200, answer.text
        return answer.json()

    yield get
    store.close()


def test_weeks_are_named_by_the_year_that_holds_their_thursday(ask):
    """ISO 8601 (as datetime and isoweek give it, tests/outside/test_clock_changes.py): 2026 has 53 weeks."""
    rows = ask("oee", by="week", **{"from": "2026-12-22T00:00:00+01:00"})["items"]
    assert [(r["key"], r["from"][:10], r["to"][:10]) for r in rows] == [
        ("2026-W52", "2026-12-22", "2026-12-28"),
        ("2026-W53", "2026-12-28", "2027-01-04"),
        ("2027-W01", "2027-01-04", "2027-01-05"),
    ]


@pytest.mark.parametrize("path", ["oee", "kpis", "losses", "energy"])
def test_months(ask, path):
    rows = ask(path, by="month", machine="N1", **{"from": "2026-10-15T00:00:00+02:00"})["items"]
    spans = {r["key"]: (r["name"], r["from"], r["to"]) for r in rows}
    assert spans == {
        "2026-10": ("October 2026", "2026-10-15T00:00:00+02:00", "2026-11-01T00:00:00+01:00"),
        "2026-11": ("November 2026", "2026-11-01T00:00:00+01:00", "2026-12-01T00:00:00+01:00"),
        "2026-12": ("December 2026", "2026-12-01T00:00:00+01:00", "2027-01-01T00:00:00+01:00"),
        "2027-01": ("January 2027", "2027-01-01T00:00:00+01:00", "2027-01-05T12:00:00+01:00"),
    }


@pytest.mark.parametrize("path", ["oee", "losses", "energy", "pace", "machines/N1/conditions"])
def test_the_month_so_far(ask, path):
    found = ask(path, span="month")
    assert (found["from"], found["to"]) == ("2027-01-01T00:00:00+01:00", "2027-01-05T12:00:00+01:00")


def test_a_month_may_be_an_edge(ask):
    (row,) = ask("pace", machine="N1", **{"from": "week", "to": "month"})["items"]
    assert (row["from"], row["until"]) == ("2027-01-04T00:00:00+01:00", "2027-02-01T00:00:00+01:00")
