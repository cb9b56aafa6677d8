"""The stream of a simulated past: whole, or refused with the line that is wrong."""

from __future__ import annotations

import json
import subprocess
import sys

import pytest
from collect.line import START, plant_of

from swarfline.collect import Pipeline
from swarfline.facts import Cycle
from swarfline.history import FORMAT, HistoryError, take_history
from swarfline.store import Store

NEVER = START + 10**14


def line(**data: object) -> bytes:
    return json.dumps(data).encode() + b"\n"


HEAD = line(format=FORMAT, version=1, start_us=START, until_us=START + 1, machines=["N1"])
STATE = line(machine="N1", readings=[["state", START, "executing"], ["part_count", START, 4]])
END = line(end=True, readings=2)


@pytest.fixture
def store(tmp_path):
    opened = Store.open("sqlite:///test.db", tmp_path / "plant.toml")
    yield opened
    opened.close()


@pytest.fixture
def pipeline(store, tmp_path):
    return Pipeline(plant_of(tmp_path, "N1", "N2"), store)


def test_a_whole_stream_is_taken(store, pipeline):
    assert take_history([HEAD, STATE, END], pipeline, lambda _: None) == 2
    assert [(r.signal, r.value) for r in store.readings(0, NEVER)] == [("state", "executing"), ("part_count", 4)]
    assert store.queries.now("N1")["condition"] == "producing"


@pytest.mark.parametrize(
    ("lines", "message"),
    [
        ([line(format="other", version=1), END], "line 1: not a stream of 'swarfline-readings' version 1"),
        ([line(format=FORMAT, version=2), END], "line 1: not a stream"),
        ([HEAD, STATE], "the stream broke off: 2 readings came"),
        ([HEAD, END], "the stream broke off: 0 readings came"),
        ([], "the stream broke off: 0 readings came"),
        ([HEAD, b'{"machine":', END], "line 2: not JSON"),
        ([HEAD, b"[1]", END], "line 2: not a JSON object"),
    ],
)
def test_another_stream_is_refused(pipeline, lines, message):
    with pytest.raises(HistoryError, match=message):
        take_history(lines, pipeline, lambda _: None)


def test_the_simulator_s_own_stream_becomes_facts_with_progress(store, pipeline):
    command = [sys.executable, "-m", "swarfline_sim", "history", "--machines", "N1,N2", "--profile", "brisk"]
    span = ["--start", "2026-03-10T00:00:00+00:00", "--until", "2026-03-10T06:00:00+00:00"]
    process = subprocess.Popen([*command, *span], stdout=subprocess.PIPE)
    told: list[int] = []
    try:
        total = take_history(process.stdout, pipeline, told.append)
    finally:
        process.communicate(timeout=60)
    assert total == len(store.readings(0, NEVER)) > 40_000
    assert told == sorted(told)
    assert told
    for machine in ("N1", "N2"):
        assert len(store.queries.facts(Cycle, machine, 0, NEVER)) > 300
