"""A machine that nobody ever saw has not made no parts: how many is not known."""

from __future__ import annotations

import re

import pytest

from swarfline.facts import TOTAL, Count
from swarfline.serve import create_app
from swarfline.serve.page import words
from swarfline.store import Batch, Store

from .client import Client
from .works import NOW, SECOND, plant

HEAD = {"accept": "text/html"}


@pytest.fixture
def bare(tmp_path):
    store = Store.open(f"sqlite:///{tmp_path / 'bare.db'}")
    yield Client(create_app(plant(tmp_path), store, clock_us=lambda: NOW)), store
    store.close()


def cell(text: str, name: str) -> str:
    (found,) = set(re.findall(f'data-cell="{name}">([^<]*)<', text))
    return found


def test_its_parts_are_unknown_on_every_page(bare):
    client, _store = bare
    first = client.get("/", headers=HEAD).text
    assert [cell(first, f"{name}.made") for name in ("N1", "S1", "plant")] == [words.UNKNOWN] * 3
    assert cell(client.get("/wall", headers=HEAD).text, "N1.made") == words.UNKNOWN
    assert "<dt>Parts made</dt><dd>–" in client.get("/machines/N1", headers=HEAD).text
    report = client.get("/reports?span=shift", headers=HEAD).text
    assert re.findall('data-label="Made" class="n">([^<]*)<', report) == [words.UNKNOWN] * 2


def test_the_api_tells_no_pace_of_it(bare):
    rows = bare[0].get("/api/v1/pace").json()["items"]
    assert [[row[name] for name in ("made", "ahead", "forecast")] for row in rows] == [[None] * 3] * 2
    assert [row["planned_time_s"] > 0 for row in rows] == [True] * 2


def test_parts_counted_across_a_gap_are_known(bare):
    client, store = bare
    store.writer().commit(
        Batch(facts=[Count("N1", NOW - SECOND, TOTAL, 7, "PH-12", across_gap=True)], seen_us=NOW)
    )
    first = client.get("/", headers=HEAD).text
    assert (cell(first, "N1.made"), cell(first, "S1.made"), cell(first, "plant.made")) == ("7", words.UNKNOWN, "7")


def test_a_tool_named_by_a_word_is_not_numbered():
    assert words.tool("7", "Face mill 50") == "T7 Face mill 50"
    assert words.tool("FINISHER", "Face mill 50") == "FINISHER Face mill 50"
    assert words.tool("7") == "T7" and words.tool("") == ""
