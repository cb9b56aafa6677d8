"""Facts from the journal are those of live operation, row by row; an edit changes only what depends on it."""

from __future__ import annotations

import threading
from dataclasses import replace
from pathlib import Path

import pytest
from collect.line import SECOND, START, history, plant_of

from swarfline.collect import Pipeline
from swarfline.facts import FACT_KINDS, Condition, Count, Cycle
from swarfline.rebuild import rebuild
from swarfline.signals import LINK, LINK_BACK, LINK_CAUGHT_UP, LINK_LOST, LINK_RESTORED, Reading
from swarfline.store import Store

NEVER = START + 10**12
PARTS = [{"id": "PH-12", "planned_cycle_time_s": 60, "programs": []}]


def everything(store: Store, machine: str) -> dict[str, list[object]]:
    return {kind.kind: list(store.queries.facts(kind, machine, 0, NEVER)) for kind in FACT_KINDS}


def with_a_loss(readings: list[Reading]) -> list[Reading]:
    """The same readings, but the connection was away for a while in the middle."""
    at = readings[len(readings) // 2].source_us
    back = at + 90 * SECOND
    link = [Reading("N1", LINK, at, back, LINK_LOST), Reading("N1", LINK, back, back, LINK_BACK)]
    again = {r.signal: r._replace(source_us=back) for r in readings if r.source_us <= back}
    after = [r for r in readings if r.source_us > back]
    return [*(r for r in readings if r.source_us <= at), *link, *again.values(), *after]


def line(folder: Path, **tables: object):
    return plant_of(folder, "N1", "N2", **tables)


@pytest.fixture
def readings() -> list[Reading]:
    return with_a_loss(history("N1", 10)) + history("N2", 5)


@pytest.fixture
def store(tmp_path, readings):
    opened = Store.open("sqlite:///test.db", tmp_path / "plant.toml")
    for begin in range(0, len(readings), 700):
        # a service that is started anew for every commit
        pipeline = Pipeline(line(tmp_path), opened)
        pipeline.commit(pipeline.take(readings[begin : begin + 700], START))
    yield opened
    opened.close()


def changes(told) -> dict[str, tuple[int, int, int]]:
    return {
        f"{machine} {kind}": (e.changed, e.added, e.removed)
        for machine, kinds in told.items()
        for kind, e in kinds.items()
        if e.changed or e.added or e.removed
    }


def test_nothing_changes_when_nothing_was_edited(store, tmp_path):
    before = {m: everything(store, m) for m in ("N1", "N2")}
    assert before["N1"]["gap"]
    told = rebuild(line(tmp_path), store, ["N1", "N2"])
    assert changes(told) == {}
    assert {m: {k: e.kept for k, e in kinds.items()} for m, kinds in told.items()} == {
        m: {k: len(rows) for k, rows in kinds.items()} for m, kinds in before.items()
    }
    assert {m: everything(store, m) for m in ("N1", "N2")} == before


def test_what_was_damaged_is_mended(store, tmp_path):
    before = everything(store, "N1")
    with store.engine.begin() as connection:
        connection.exec_driver_sql("UPDATE cycles SET parts = parts + 1 WHERE machine = 'N1'")
        connection.exec_driver_sql("DELETE FROM conditions WHERE machine = 'N1' AND condition = 'producing'")
        connection.exec_driver_sql("INSERT INTO counts VALUES ('N1', 5000, 'total', 9, '', '', 0)")
    producing = sum(c.condition == "producing" for c in before["condition"])
    dry = changes(rebuild(line(tmp_path), store, ["N1"], dry=True))
    assert dry == {
        "N1 cycle": (len(before["cycle"]), 0, 0), "N1 condition": (0, producing, 0), "N1 count": (0, 0, 1),
    }  # fmt: skip
    assert everything(store, "N1") != before
    assert changes(rebuild(line(tmp_path), store, ["N1"])) == dry
    assert everything(store, "N1") == before


def test_an_edit_of_parts_changes_only_what_names_parts(store, tmp_path):
    before = everything(store, "N1")
    programs = sorted({c.program for c in before["cycle"]})
    edited = line(tmp_path, parts=[{"id": "X-1", "planned_cycle_time_s": 9, "programs": programs}])
    # the simulated machine names its part itself: only its readings of the part go
    with store.engine.begin() as connection:
        connection.exec_driver_sql("DELETE FROM counts WHERE machine = 'N2'")
    told = rebuild(edited, store, ["N1"])
    assert changes(told) == {}
    assert everything(store, "N2")["count"] == []


def test_parts_by_program_follow_the_plant_file(tmp_path):
    opened = Store.open("sqlite:///other.db", tmp_path / "plant.toml")
    told = [r for r in history("N1", 6) if r.signal != "part"]
    first = Pipeline(line(tmp_path), opened)
    first.commit(first.take(told, START))
    before = everything(opened, "N1")
    programs = sorted({c.program for c in before["cycle"]})
    edited = line(tmp_path, parts=[{"id": "X-1", "planned_cycle_time_s": 9, "programs": programs}])
    found = changes(rebuild(edited, opened, ["N1"]))
    assert set(found) == {"N1 cycle", "N1 count"}
    assert all(added == removed == 0 for _, added, removed in found.values())
    after = everything(opened, "N1")
    assert {c.part for c in after["cycle"]} == {"X-1"}
    assert [replace(c, part="") for c in after["cycle"]] == before["cycle"]
    assert [replace(c, part="") for c in after["count"]] == [replace(c, part="") for c in before["count"]]
    opened.close()


def test_only_the_span_and_the_machines_asked_for_are_touched(store, tmp_path):
    before = everything(store, "N1")
    middle = before["condition"][len(before["condition"]) // 2].start_us
    with store.engine.begin() as connection:
        connection.exec_driver_sql("DELETE FROM conditions")
    rebuild(line(tmp_path), store, ["N1"], (middle, NEVER))
    assert everything(store, "N1")["condition"] == [c for c in before["condition"] if c.start_us >= middle]
    assert everything(store, "N2")["condition"] == []


def test_late_readings_take_their_place(tmp_path):
    told = history("N1", 8)
    opened = Store.open("sqlite:///late.db", tmp_path / "plant.toml")
    undisturbed = Pipeline(line(tmp_path), opened)
    undisturbed.commit(undisturbed.take(told, START))
    want = everything(opened, "N1")
    opened.close()
    moved = [r for r in told if r.signal == "part_count"][2:4]
    arrived = [r for r in told if r not in moved]
    place = arrived.index(next(r for r in arrived if r.source_us > moved[-1].source_us + 20 * SECOND)) + 5
    arrived[place:place] = moved
    opened = Store.open("sqlite:///late2.db", tmp_path / "plant.toml")
    disturbed = Pipeline(line(tmp_path), opened)
    batch = disturbed.take(arrived, START)
    assert len(batch.late) == 2
    disturbed.commit(batch)
    assert everything(opened, "N1") != want
    assert changes(rebuild(line(tmp_path), opened, ["N1"]))
    assert everything(opened, "N1") == want
    opened.close()


def test_the_service_goes_on_writing_meanwhile(tmp_path):
    told = history("N1", 25)
    opened = Store.open("sqlite:///busy.db", tmp_path / "plant.toml")
    live = Pipeline(line(tmp_path), opened)
    half = len(told) // 2
    live.commit(live.take(told[:half], START))
    begun = threading.Event()

    def go_on() -> None:
        for begin in range(half, len(told), 100):
            live.commit(live.take(told[begin : begin + 100], START))
            begun.set()

    writing = threading.Thread(target=go_on)
    writing.start()
    begun.wait(10)
    found = [changes(rebuild(line(tmp_path), opened, ["N1"])) for _ in range(3)]
    writing.join(60)
    assert found == [{}, {}, {}]
    assert changes(rebuild(line(tmp_path), opened, ["N1"])) == {}
    assert len(opened.readings(0, NEVER)) == len(told)
    opened.close()


def test_an_error_leaves_everything_as_it_was(store, tmp_path):
    with store.engine.begin() as connection:
        connection.exec_driver_sql("DELETE FROM conditions WHERE machine = 'N1'")
        connection.exec_driver_sql("UPDATE cycles SET parts = 7 WHERE machine = 'N1'")
        connection.exec_driver_sql("ALTER TABLE alarms RENAME TO away")
    with pytest.raises(Exception, match="alarms"):
        rebuild(line(tmp_path), store, ["N1"])
    assert store.queries.facts(Condition, "N1", 0, NEVER) == []
    assert {c.parts for c in store.queries.facts(Cycle, "N1", 0, NEVER)} == {7}
    assert store.queries.facts(Count, "N1", 0, NEVER)


def cut(readings: list[Reading], away_s: float) -> tuple[list[Reading], list[Reading]]:
    """What arrived before a connection was lost in the middle, and what was read back, with what overlaps."""
    at = readings[len(readings) // 2].source_us
    before = [r for r in readings if r.source_us <= at]
    later = at + round(away_s * SECOND)
    history = [r._replace(received_us=later) for r in readings if at - 5 * SECOND <= r.source_us <= later]
    after = [r for r in readings if r.source_us > later]
    restored = Reading("N1", LINK, at, later, LINK_RESTORED)
    return before, [restored, *history, Reading("N1", LINK, later, later, LINK_CAUGHT_UP), *after]


@pytest.mark.parametrize("told", ["the connection", "the service"])
def test_a_gap_that_was_read_back_leaves_facts_and_journal_of_an_undisturbed_run(tmp_path, told):
    readings = history("N1", 10)
    plant = line(tmp_path)
    undisturbed = Store.open("sqlite:///undisturbed.db", tmp_path / "plant.toml")
    pipeline = Pipeline(plant, undisturbed)
    pipeline.commit(pipeline.take(readings, START))

    opened = Store.open("sqlite:///disturbed.db", tmp_path / "plant.toml")
    before, rest = cut(readings, 90)
    pipeline = Pipeline(plant, opened)
    pipeline.commit(pipeline.take(before, START))
    lost = [Reading("N1", LINK, before[-1].source_us, START, LINK_LOST)]
    if told == "the service":
        pipeline = Pipeline(plant, opened)
        lost = pipeline.losses(START)
        assert [(r.machine, r.source_us) for r in lost] == [("N1", before[-1].source_us)]
    pipeline.commit(pipeline.take(lost, START))
    pipeline.commit(pipeline.take(rest, START))

    assert everything(opened, "N1") == everything(undisturbed, "N1")
    # no reading is kept twice, and those read again are not kept as late
    kept = [(r.signal, r.source_us) for r, late in arrived(opened) if r.signal != LINK and not late]
    assert sorted(kept) == sorted((r.signal, r.source_us) for r in readings)
    assert not any(late for _, late in arrived(opened))
    assert changes(rebuild(plant, opened, ["N1"])) == {}
    undisturbed.close()
    opened.close()


def arrived(store: Store):
    return [arrival for _, arrivals in store.arrivals() for arrival in arrivals]
