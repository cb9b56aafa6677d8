"""A Supervisor against a real server in the same process: what is handed over, in which order."""

from __future__ import annotations

import asyncio
import itertools
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta

import pytest
from asyncua import ua
from asyncua.common.utils import ServiceError

from swarfline.connect import chores
from swarfline.connect.stamps import stamp_us
from swarfline.interpret.order import Order
from swarfline.interpret.settings import MachineSettings
from swarfline.signals import Quality

from .plc import VENDOR_URI, Plc
from .watching import STATE_AND_COUNT, Watching, plant_file

UINT32 = ua.VariantType.UInt32


def now_us() -> int:
    return time.time_ns() // 1000


async def test_initial_set_then_live_values_in_order(free_port: int) -> None:
    async with Plc(free_port) as plc:
        await plc.machine("N1", State=2, Count=ua.Variant(7, UINT32))
        old = datetime(2026, 1, 2, 3, 4, 5, 678_901, tzinfo=UTC)
        await plc.write("N1/State", 2, old)
        async with Watching(plant_file(plc.url, {"N1": {"signals": STATE_AND_COUNT}})) as watching:
            await watching.until_link("back")
            await plc.write("N1/State", 3)
            await plc.write("N1/Count", ua.Variant(8, UINT32))
            await watching.until(lambda: watching.values("part_count")[-1:] == [8])
            status = watching.supervisor.status
        offset, back, *initial = watching.got[:4]
        assert offset.signal == "clock_offset"
        assert abs(int(offset.value or 0)) < 500_000
        assert (back.signal, back.value) == ("link", "back")
        assert abs(back.source_us - now_us()) < 20_000_000
        assert {(r.signal, r.value) for r in initial} == {("state", "not_executing"), ("part_count", 7)}
        # 2026-01-02T03:04:05.678901Z (date -u -d … +%s)
        assert watching.of("state")[0].source_us == 1_767_323_045_678_901
        assert watching.values("state") == ["not_executing", "executing"]
        assert (status.state, status.attempts, status.signals, status.changes) == ("connected", 1, 2, 4)
        assert status.revised_queue_size == 200


async def test_a_burst_between_two_publishes_is_kept_and_sorted(free_port: int) -> None:
    async with Plc(free_port) as plc:
        await plc.machine("N1", State=2, Count=ua.Variant(0, UINT32))
        async with Watching(plant_file(plc.url, {"N1": {"signals": STATE_AND_COUNT}})) as watching:
            await watching.until_link("back")
            begin = datetime.now(UTC)
            for step in range(1, 31):
                at = begin + timedelta(milliseconds=step)
                await plc.write("N1/Count", ua.Variant(step, UINT32), at)
                await plc.write("N1/State", 2 + step % 2, at)
            await watching.until(lambda: watching.values("part_count")[-1] == 30)
            live = [r for batch in watching.batches for r in batch if r.source_us > now_us() - 60_000_000]
            bursts = [batch for batch in watching.batches if len(batch) > 5 and batch[0].signal != "clock_offset"]
        assert watching.values("part_count") == list(range(31))
        assert len(watching.values("state")) == 31
        assert live
        for batch in bursts:
            assert [r.source_us for r in batch] == sorted(r.source_us for r in batch)


async def test_a_heartbeat_tells_of_no_time_whose_changes_still_wait_at_the_server(free_port: int) -> None:
    on_the_way_us = 500_000
    async with Plc(free_port) as plc:
        await plc.machine("N1", State=2, Count=ua.Variant(0, UINT32))
        raw = plant_file(plc.url, {"N1": {"signals": STATE_AND_COUNT}}, publishing_ms=2500, keepalive_s=0.2)
        async with Watching(raw) as watching:
            counts = itertools.count(1)

            async def count_while(true: Callable[[], bool]) -> None:
                while true():
                    await plc.write("N1/Count", ua.Variant(next(counts), UINT32))
                    await asyncio.sleep(0.05)

            # the server proves every 0.4 s that it lives, and sends only every 2.5 s
            await count_while(lambda: len(watching.links("alive")) < 2)
            arrived = len(watching.values("part_count"))
            await count_while(lambda: len(watching.values("part_count")) == arrived)
        beaten_us = 0
        for reading in watching.got:
            if (reading.signal, reading.value) == ("link", "alive"):
                beaten_us = reading.source_us
            elif reading.signal == "part_count":
                assert reading.source_us > beaten_us - on_the_way_us
        # publishing is slower than the window in which order is restored (1 s by default)
        order = Order(MachineSettings("N1", frozenset(STATE_AND_COUNT)))
        assert all(order.put(reading) for reading in watching.got)


async def test_heartbeats_while_nothing_changes(free_port: int) -> None:
    async with Plc(free_port) as plc:
        await plc.machine("N1", State=2, Count=ua.Variant(0, UINT32))
        async with Watching(plant_file(plc.url, {"N1": {"signals": STATE_AND_COUNT}})) as watching:
            await watching.until_link("alive", 2)
            beats = watching.links("alive")
        steps = [b.received_us - a.received_us for a, b in itertools.pairwise(beats)]
        assert max(steps) < 2_500_000
        assert all(beat.source_us <= beat.received_us for beat in beats)


async def test_units_are_converted_and_conflicts_refused(free_port: int) -> None:
    async with Plc(free_port) as plc:
        await plc.machine("N1", State=3, Count=ua.Variant(0, UINT32), Load=0.5, Mystery=4.0)
        await plc.variable("N1", "Power", 2.5, unit="kW")
        await plc.variable("N1", "Pressure", 6.0, unit="bar")
        signals = {
            **STATE_AND_COUNT,
            "power": "t:Power",
            "feed_rate": "t:Pressure",
            "spindle_load": {"node": "t:Load", "unit": "1"},
            "spindle_speed": "t:Mystery",
        }
        async with Watching(plant_file(plc.url, {"N1": {"signals": signals}})) as watching:
            await watching.until_link("back")
            refused = watching.supervisor.status.refused
        assert watching.values("power") == [2500.0]
        assert watching.values("spindle_load") == [50.0]
        assert watching.values("spindle_speed") == [4.0]
        assert watching.of("feed_rate")[0].quality == Quality.BAD
        assert "'bar'" in refused["N1/feed_rate"]
        assert list(refused) == ["N1/feed_rate"]


async def test_value_tables_node_ids_and_codes_without_meaning(free_port: int) -> None:
    async with Plc(free_port) as plc:
        await plc.machine("N1", State=7, Count=ua.Variant(0, UINT32), Mode=1)
        vendor = await plc.server.get_namespace_index(VENDOR_URI)
        await plc.nodes["N1"].add_variable(f"ns={vendor};s=Changing", "Changing", 6)
        signals = {
            **STATE_AND_COUNT,
            "state": {"node": "t:State", "values": {"7": "executing", "8": "not_executing"}},
            "mode": "t:Mode",
            "tool_changing": {"node": f"nsu={VENDOR_URI};s=Changing", "values": {"6": True, "0": False}},
        }
        async with Watching(plant_file(plc.url, {"N1": {"signals": signals}})) as watching:
            await watching.until_link("back")
            await plc.write("N1/State", 9)
            await watching.until(lambda: len(watching.of("state")) == 2)
            status = watching.supervisor.status
        assert watching.values("state") == ["executing", None]
        assert watching.of("state")[1].quality == Quality.BAD
        assert (watching.values("mode"), watching.values("tool_changing")) == (["automatic"], [True])
        assert status.unmapped == {"N1/state": "9"}


async def test_a_refused_node_is_picked_up_when_it_appears(
    free_port: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(chores, "RETRY_S", 0.5)
    async with Plc(free_port) as plc:
        await plc.machine("N1", State=3, Count=ua.Variant(0, UINT32))
        signals = {**STATE_AND_COUNT, "power": "t:Power"}
        async with Watching(plant_file(plc.url, {"N1": {"signals": signals}})) as watching:
            await watching.until_link("back")
            refused = watching.of("power")
            assert [(r.value, r.quality) for r in refused] == [(None, Quality.BAD)]
            assert refused[0].source_us == watching.links("back")[0].source_us
            assert "N1/power" in watching.supervisor.status.refused
            await plc.variable("N1", "Power", 1500.0)
            await watching.until(lambda: watching.values("power") == [None, 1500.0])
            await watching.until(lambda: not watching.supervisor.status.refused)
            assert (len(watching.links("back")), len(watching.links("lost"))) == (1, 0)


async def test_a_node_that_appears_late_holds_from_then_on_however_old_its_last_change(
    free_port: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its own time would lie before what has been final since long, and be dropped as late."""
    monkeypatch.setattr(chores, "RETRY_S", 0.5)
    async with Plc(free_port) as plc:
        await plc.machine("N1", State=3, Count=ua.Variant(0, UINT32))
        async with Watching(
            plant_file(plc.url, {"N1": {"signals": {**STATE_AND_COUNT, "part": "t:Part"}}})
        ) as watching:
            await watching.until_link("back")
            await plc.variable("N1", "Part", "PH-12")
            await plc.write("N1/Part", "VC-30", datetime.now(UTC) - timedelta(hours=1))
            await watching.until(lambda: watching.values("part") == [None, "VC-30"])
            unknown, known = watching.of("part")
            assert unknown.source_us < known.source_us
            assert abs(known.source_us - known.received_us) < 1_000_000
            changed = datetime.now(UTC)
            await plc.write("N1/Part", "MB-05", changed)
            await watching.until(lambda: watching.values("part")[-1] == "MB-05")
            assert watching.of("part")[-1].source_us == stamp_us(changed)


async def test_bad_and_uncertain_values(free_port: int) -> None:
    async with Plc(free_port) as plc:
        await plc.machine("N1", State=3, Count=ua.Variant(0, UINT32), Power=5.0)
        signals = {**STATE_AND_COUNT, "power": "t:Power"}
        async with Watching(plant_file(plc.url, {"N1": {"signals": signals}})) as watching:
            await watching.until_link("back")
            await plc.write("N1/Power", 6.0, status=0x4090_0000)
            await plc.write("N1/Power", 7.0, status=0x8031_0000)
            await plc.write("N1/Power", float("nan"))
            await plc.write("N1/Power", 8.0)
            await watching.until(lambda: watching.values("power")[-1] == 8.0)
        assert [(r.value, r.quality) for r in watching.of("power")] == [
            (5.0, Quality.GOOD), (6.0, Quality.UNCERTAIN), (None, Quality.BAD), (None, Quality.BAD),
            (8.0, Quality.GOOD),
        ]  # fmt: skip


async def test_two_machines_one_server(free_port: int) -> None:
    async with Plc(free_port) as plc:
        for name in ("N1", "N2"):
            await plc.machine(name, State=3, Count=ua.Variant(0, UINT32))
        machines = {name: {"signals": STATE_AND_COUNT} for name in ("N1", "N2")}
        async with Watching(plant_file(plc.url, machines)) as watching:
            await watching.until_link("back", machine="N2")
            await plc.write("N2/State", 0)
            await watching.until(lambda: watching.values("state", "N2")[-1] == "not_available")
        assert watching.values("state", "N1") == ["executing"]
        assert [r.machine for r in watching.got[:8]] == ["N1"] * 4 + ["N2"] * 4


async def test_reading_in_a_cycle_gives_the_same(free_port: int) -> None:
    async with Plc(free_port) as plc:
        await plc.machine("N1", State=2, Count=ua.Variant(0, UINT32), Power=5.0)
        signals = {**STATE_AND_COUNT, "power": "t:Power", "lot": "t:Nowhere"}
        async with Watching(plant_file(plc.url, {"N1": {"signals": signals}}, access="read")) as watching:
            await watching.until_link("back")
            await plc.write("N1/State", 3)
            await watching.until(lambda: watching.values("state")[-1] == "executing")
            await plc.write("N1/Power", 6.0)
            await watching.until(lambda: watching.values("power")[-1] == 6.0)
            await watching.until_link("alive")
            status = watching.supervisor.status
        assert [r.signal for r in watching.got[:2]] == ["clock_offset", "link"]
        assert watching.values("state") == ["not_executing", "executing"]
        assert watching.values("power") == [5.0, 6.0]
        assert watching.values("lot") == [None]
        assert "N1/lot" in status.refused


async def test_a_full_queue_is_a_loss(free_port: int) -> None:
    async with Plc(free_port) as plc:
        await plc.machine("N1", State=2, Count=ua.Variant(0, UINT32))
        async with Watching(plant_file(plc.url, {"N1": {"signals": STATE_AND_COUNT}})) as watching:
            await watching.until_link("back")
            last_taken_us = watching.got[-1].received_us
            watching.room = False
            await plc.write("N1/Count", ua.Variant(1, UINT32))
            await watching.until(lambda: watching.supervisor.status.state == "waiting")
            assert "queue is full" in watching.supervisor.status.last_error
            assert not watching.links("lost")
            watching.room = True
            await watching.until_link("back", 2)
        (lost,), (_, back) = watching.links("lost"), watching.links("back")
        assert last_taken_us <= lost.source_us < back.source_us
        assert watching.values("part_count") == [0, 1]
        assert (
            watching.got.index(lost) < watching.got.index(back) < watching.got.index(watching.of("part_count")[1])
        )


async def test_our_clock_is_compared_with_the_servers(free_port: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("swarfline.clock.now_us", lambda: now_us() - 30_000_000)
    async with Plc(free_port) as plc:
        await plc.machine("N1", State=2, Count=ua.Variant(0, UINT32))
        async with Watching(plant_file(plc.url, {"N1": {"signals": STATE_AND_COUNT}})) as watching:
            await watching.until_link("back")
            (told,) = watching.values("clock_offset")
            assert abs(told - 30_000_000) < 300_000
            monkeypatch.setattr("swarfline.clock.now_us", now_us)
            await watching.until(lambda: len(watching.of("clock_offset")) == 2)
        assert abs(watching.values("clock_offset")[1]) < 300_000


async def test_the_servers_clock_rules_where_the_file_says_so(free_port: int) -> None:
    async with Plc(free_port) as plc:
        await plc.machine("N1", State=2, Count=ua.Variant(0, UINT32))
        begin = datetime(2030, 1, 1, tzinfo=UTC)
        await plc.write("N1/State", 2, begin)
        await plc.write("N1/Count", ua.Variant(0, UINT32), begin + timedelta(seconds=5))
        begin_us = int(begin.timestamp()) * 1_000_000
        async with Watching(plant_file(plc.url, {"N1": {"signals": STATE_AND_COUNT}}, clock="server")) as watching:
            await watching.until_link("back")
            await watching.until_link("alive")
            await plc.write("N1/State", 3, begin + timedelta(seconds=60))
            await watching.until_link("alive", 2)
        assert not watching.of("clock_offset")
        assert watching.links("back")[0].source_us == begin_us + 5_000_000
        assert [r.source_us - begin_us for r in watching.links("alive")] == [5_000_000, 60_000_000]


async def test_losses_told_by_the_servers_bits_are_read_again(free_port: int) -> None:
    async with Plc(free_port) as plc:
        for name in ("N1", "N2"):
            await plc.machine(name, State=3, Count=ua.Variant(0, UINT32))
        machines = {name: {"signals": STATE_AND_COUNT} for name in ("N1", "N2")}
        async with Watching(plant_file(plc.url, machines)) as watching:
            await watching.until_link("back")
            # the test server never sets the overflow bits itself
            await plc.write("N1/Count", ua.Variant(5, UINT32), status=0x480)
            await watching.until_link("back", 2)
            status = watching.supervisor.status
        (lost,), (_, back) = watching.links("lost"), watching.links("back")
        assert lost.source_us < back.source_us
        after = watching.got[watching.got.index(back) :]
        assert {(r.signal, r.value) for r in after if r.signal != "link"} >= {
            ("state", "executing"),
            ("part_count", 5),
        }
        assert (status.overflows >= 1, status.attempts, watching.links("lost", "N2")) == (True, 1, [])


async def test_more_items_than_the_server_takes_at_once(free_port: int) -> None:
    async with Plc(free_port) as plc:
        names = [f"N{n}" for n in range(1, 9)]
        for name in names:
            await plc.machine(name, State=3, Count=ua.Variant(0, UINT32))
        limits = ua.ObjectIds
        for limit in (
            limits.Server_ServerCapabilities_OperationLimits_MaxNodesPerRead,
            limits.Server_ServerCapabilities_OperationLimits_MaxMonitoredItemsPerCall,
            limits.Server_ServerCapabilities_OperationLimits_MaxNodesPerTranslateBrowsePathsToNodeIds,
        ):
            await plc.server.get_node(ua.NodeId(limit)).write_value(ua.Variant(3, UINT32))
        seen: list[int] = []
        service = plc.server.iserver.subscription_service
        create = service.create_monitored_items

        async def counted(params: ua.CreateMonitoredItemsParameters) -> list[ua.MonitoredItemCreateResult]:
            seen.append(len(params.ItemsToCreate))
            return await create(params)

        service.create_monitored_items = counted
        async with Watching(
            plant_file(plc.url, {name: {"signals": STATE_AND_COUNT} for name in names})
        ) as watching:
            await watching.until_link("back", machine="N8")
            signals = watching.supervisor.status.signals
        # one more is for the events that tell of nodes
        assert (signals, max(seen), sum(seen)) == (16, 3, 16 + 1)


async def test_stopping_leaves_no_session_and_no_task_behind(free_port: int) -> None:
    async with Plc(free_port) as plc:
        await plc.machine("N1", State=2, Count=ua.Variant(0, UINT32))
        before = asyncio.all_tasks()
        async with Watching(plant_file(plc.url, {"N1": {"signals": STATE_AND_COUNT}})) as watching:
            await watching.until_link("back")
            assert len(plc.server.iserver.subscription_service.subscriptions) == 1
        await asyncio.sleep(0.2)
        left = [task for task in asyncio.all_tasks() - before if "asyncua.server" not in repr(task)]
        assert (len(plc.server.iserver.subscription_service.subscriptions), left) == (0, [])


async def test_a_lost_message_is_a_loss_of_every_machine(free_port: int) -> None:
    async with Plc(free_port) as plc:
        for name in ("N1", "N2"):
            await plc.machine(name, State=3, Count=ua.Variant(0, UINT32))
        machines = {name: {"signals": STATE_AND_COUNT} for name in ("N1", "N2")}
        async with Watching(plant_file(plc.url, machines)) as watching:
            await watching.until_link("back")
            await plc.write("N1/Count", ua.Variant(1, UINT32))
            await watching.until(lambda: watching.values("part_count") == [0, 1])
            (subscription,) = plc.server.iserver.subscription_service.subscriptions.values()
            subscription._notification_seq += 1
            await watching.until_link("back", 2, "N2")
            status = watching.supervisor.status
        for name in ("N1", "N2"):
            (lost,), (_, back) = watching.links("lost", name), watching.links("back", name)
            assert lost.source_us < back.source_us
            assert watching.values("state", name) == ["executing", "executing"]
        assert (status.sequence_gaps, status.reconnects) == (1, 0)


async def test_keep_alives_are_no_gap(free_port: int) -> None:
    async with Plc(free_port) as plc:
        await plc.machine("N1", State=3, Count=ua.Variant(0, UINT32))
        async with Watching(
            plant_file(plc.url, {"N1": {"signals": STATE_AND_COUNT}}, keepalive_s=0.2)
        ) as watching:
            await watching.until_link("back")
            for count in range(1, 3):
                await asyncio.sleep(0.5)
                await plc.write("N1/Count", ua.Variant(count, UINT32))
            await watching.until(lambda: watching.values("part_count") == [0, 1, 2])
            assert watching.supervisor.status.sequence_gaps == 0


async def test_a_server_without_subscriptions_is_read_in_a_cycle(free_port: int) -> None:
    async with Plc(free_port) as plc:
        await plc.machine("N1", State=3, Count=ua.Variant(0, UINT32))

        async def refuse(*_: object, **__: object) -> None:
            raise ServiceError(ua.StatusCodes.BadServiceUnsupported)

        plc.server.iserver.subscription_service.create_subscription = refuse
        async with Watching(plant_file(plc.url, {"N1": {"signals": STATE_AND_COUNT}})) as watching:
            await watching.until_link("back")
            await plc.write("N1/Count", ua.Variant(1, UINT32))
            await watching.until(lambda: watching.values("part_count") == [0, 1])
