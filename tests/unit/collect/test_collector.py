"""The collector over a real connection and a real database that at times does not take anything."""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from connect.plc import Plc
from connect.watching import STATE_AND_COUNT, plant_file

from collect.line import WEEK
from swarfline.collect import Collector, collector
from swarfline.facts import UNOBSERVED, Condition, Count, Gap
from swarfline.live import Live
from swarfline.plant.load import check
from swarfline.signals import LINK
from swarfline.store import Store

NEVER = 2**62


class Running:
    """A collector at work on one machine, N1; what it cannot store is lost at the end only."""

    def __init__(self, url: str, folder: Path, live: Live | None = None) -> None:
        raw = plant_file(url, {"N1": {"signals": STATE_AND_COUNT}})
        raw |= {"shifts": [{"name": "all", "start": "00:00", "end": "00:00", "days": WEEK}]}
        plant = check(raw, str(folder / "plant.toml"))
        self.store = Store.open("sqlite:///test.db", folder / "plant.toml")
        self.collector = Collector(plant, self.store, live)
        self.commit = self.collector._pipeline.commit

    async def __aenter__(self) -> Running:
        self.task = asyncio.create_task(self.collector.run())
        return self

    async def __aexit__(self, *_: object) -> None:
        self.collector.stop()
        await asyncio.wait_for(self.task, 60)
        self.store.close()

    def refuse(self, true: Callable[[], bool]) -> list[Any]:
        """The database refuses while ``true``; the batches it was offered."""
        offered: list[Any] = []

        def commit(batch: Any) -> None:
            offered.append(batch)
            if true():
                raise OSError("disk is full")
            self.commit(batch)

        self.collector._pipeline.commit = commit
        return offered

    def parts(self) -> int:
        return sum(c.quantity for c in self.store.queries.facts(Count, "N1", 0, NEVER))

    def now(self) -> dict[str, Any]:
        return self.store.queries.now("N1") or {"values": {}, "condition": UNOBSERVED, "linked": False}


async def until(true: Callable[[], Any], limit_s: float = 60.0) -> None:
    deadline = asyncio.get_running_loop().time() + limit_s
    while not true():
        assert asyncio.get_running_loop().time() < deadline
        await asyncio.sleep(0.02)


@pytest.fixture
async def plc(free_port):
    async with Plc(free_port) as server:
        await server.machine("N1", State=3, Count=7)
        yield server


async def test_values_are_stored_and_then_published(plc, tmp_path):
    live = Live()
    async with Running(plc.url, tmp_path, live) as running, live.subscribe() as news:
        await until(lambda: running.now()["linked"])
        assert running.now()["condition"] == "producing"
        assert (await asyncio.wait_for(news.get(), 60)).name == "commit"
        for count in (8, 9, 10):
            await plc.write("N1/Count", count)
        await plc.write("N1/State", 2)
        await until(lambda: running.now()["condition"] == "waiting")
        await until(lambda: running.parts() == 3)
        (state,) = running.store.queries.servers()
        assert (state["server"], state["state"], state["signals"]) == ("line", "connected", 2)
    signals = [r.signal for r in running.store.readings(0, NEVER)]
    assert signals.count("part_count") == 4
    assert LINK in signals


async def test_a_database_that_is_away_costs_nothing_but_time(plc, tmp_path, caplog, monkeypatch):
    monkeypatch.setattr(collector, "FIRST_RETRY_S", 0.05)
    away = False
    async with Running(plc.url, tmp_path) as running:
        await until(lambda: running.now()["linked"])
        offered = running.refuse(lambda: away)
        away = True
        for count in range(8, 28):
            await plc.write("N1/Count", count)
            await asyncio.sleep(0.02)
        await until(lambda: len(offered) > 3)
        assert running.parts() == 0
        assert len({id(batch) for batch in offered[-3:]}) == 1
        away = False
        await until(lambda: running.parts() == 20)
        assert running.store.queries.facts(Gap, "N1", 0, NEVER) == []
    assert "the database does not take" in caplog.text
    assert "disk is full; they are kept and tried again" in caplog.text


async def test_a_queue_that_runs_over_ends_in_a_gap_and_parts_are_not_lost(plc, tmp_path, monkeypatch):
    monkeypatch.setattr(collector, "FIRST_RETRY_S", 0.05)
    away = False
    async with Running(plc.url, tmp_path) as running:
        await until(lambda: running.now()["linked"])
        offered = running.refuse(lambda: away)
        away = True
        await until(lambda: len(offered) > 1)
        running.collector._inbox._limit = 5
        for count in range(8, 108):
            await plc.write("N1/Count", count)
            await asyncio.sleep(0.02)
        away = False
        running.collector._inbox._limit = 10_000
        await until(lambda: running.store.queries.facts(Gap, "N1", 0, NEVER))
        await until(lambda: running.parts() == 100)
        assert any(c.across_gap for c in running.store.queries.facts(Count, "N1", 0, NEVER))


async def test_a_stop_does_not_wait_for_a_database_that_is_away(plc, tmp_path, caplog):
    async with Running(plc.url, tmp_path) as running:
        await until(lambda: running.now()["linked"])
        offered = running.refuse(lambda: len(offered) < 4)
        await plc.write("N1/Count", 8)
        await until(lambda: offered)
        running.collector.stop()
        await asyncio.wait_for(running.task, 60)
        # a later group would carry a checkpoint that knows of facts that were never stored
        assert len({id(batch) for batch in offered}) == 1
        assert len(offered) < 4
    assert "they are lost, and the time they are of becomes a gap" in caplog.text


async def test_a_restart_tells_the_gap_and_counts_what_was_made_in_it(plc, tmp_path):
    async with Running(plc.url, tmp_path) as running:
        await plc.write("N1/Count", 9)
        await until(lambda: running.now()["linked"])
        told_us = running.now()["at_us"]
    await plc.write("N1/Count", 14)
    async with Running(plc.url, tmp_path) as running:
        await until(lambda: running.parts() == 5)
        (gap,) = running.store.queries.facts(Gap, "N1", 0, NEVER)
        assert gap.start_us >= told_us
        kinds = {c.condition for c in running.store.queries.facts(Condition, "N1", gap.start_us, gap.end_us)}
        assert kinds == {UNOBSERVED}
        assert [c.across_gap for c in running.store.queries.facts(Count, "N1", 0, NEVER)] == [True]


async def test_a_server_that_is_not_there_is_told_again_and_again(free_port, tmp_path, caplog):
    caplog.set_level(logging.WARNING)
    async with Running(f"opc.tcp://127.0.0.1:{free_port}/none", tmp_path) as running:
        await until(lambda: caplog.text.count("cannot connect") >= 3)
        await until(lambda: running.store.queries.servers())
        (state,) = running.store.queries.servers()
        assert state["state"] in ("waiting", "connecting")
        assert state["last_error"]
        assert running.store.queries.now("N1") is None


async def test_rules_that_fail_do_not_stop_the_storing(plc, tmp_path, caplog):
    async with Running(plc.url, tmp_path) as running:

        def fail() -> None:
            raise ArithmeticError("a defect")

        running.collector._watching.look = fail
        await until(lambda: running.now()["linked"])
        await plc.write("N1/Count", 8)
        await until(lambda: running.parts() == 1)
    assert "the alert rules could not be run" in caplog.text


async def test_a_defect_of_a_supervisor_ends_the_run_and_shows(plc, tmp_path):
    running = Running(plc.url, tmp_path)

    async def fail() -> None:
        raise ArithmeticError("a defect")

    running.collector._supervisors[0].run = fail
    with pytest.raises(ArithmeticError, match="a defect"):
        await asyncio.wait_for(running.collector.run(), 60)
    running.store.close()
