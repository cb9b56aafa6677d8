"""What changes at a server while a session lasts: nodes come and go, others take its places."""

from __future__ import annotations

import asyncio
from typing import Any

import pytest
from asyncua import ua
from asyncua.common.utils import ServiceError

from swarfline.connect import chores, supervise
from swarfline.signals import Quality

from .plc import Plc
from .watching import STATE_AND_COUNT, Watching, plant_file

UINT32 = ua.VariantType.UInt32
ONE = {"N1": {"signals": STATE_AND_COUNT}}


async def moved(plc: Plc, name: str) -> None:
    """The node goes and another comes at its browse path, with another NodeId."""
    await plc.server.delete_nodes([plc.nodes[name]])
    machine, key = name.split("/")
    plc.nodes[name] = await plc.nodes[machine].add_variable(
        f"ns={plc.index};s=new.{name}", f"{plc.index}:{key}", ua.Variant(70, UINT32)
    )


async def test_a_node_that_moves_without_a_word_is_found_by_the_slow_look(
    free_port: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(chores, "TOOLS_S", 0.5)
    async with Plc(free_port) as plc:
        await plc.machine("N1", State=3, Count=ua.Variant(0, UINT32))
        for access in ("subscribe", "read"):
            async with Watching(plant_file(plc.url, ONE, access=access)) as watching:
                await watching.until_link("back")
                await moved(plc, "N1/Count")
                await watching.until(lambda: watching.values("part_count")[-1:] == [70])
                await plc.write("N1/Count", ua.Variant(71, UINT32))
                await watching.until(lambda: watching.values("part_count")[-1:] == [71])
                status = watching.supervisor.status
            assert (status.refused, status.signals, status.attempts) == ({}, 2, 1)
            assert any(r.quality == Quality.BAD for r in watching.of("part_count")), "unknown while it was gone"
            await plc.server.delete_nodes([plc.nodes["N1/Count"]])
            await plc.variable("N1", "Count", ua.Variant(0, UINT32))


async def test_a_server_that_tells_of_changes_is_looked_at_soon(
    free_port: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(chores, "LEAST_LOOK_S", 0.2)
    async with Plc(free_port) as plc:
        place = await plc.machine("N1", State=3, Count=ua.Variant(0, UINT32))
        tools = await place.add_object(plc.index, "Tools")
        told = await plc.server.get_event_generator(ua.NodeId(ua.ObjectIds.GeneralModelChangeEventType))
        raw = plant_file(plc.url, {"N1": {"signals": STATE_AND_COUNT, "tools": {"objects": "t:Tools"}}})
        async with Watching(raw) as watching:
            await watching.until_link("back")
            await plc.tool(tools, 6, up=True, indication=2, unit=None, value=5)
            await moved(plc, "N1/Count")
            await told.trigger()
            # long before the next slow look
            await watching.until(lambda: watching.values("tools[6].used") == [5.0])
            await watching.until(lambda: watching.values("part_count")[-1:] == [70])


async def test_a_server_that_tells_again_and_again_is_not_looked_at_each_time(
    free_port: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(chores, "LEAST_LOOK_S", 30.0)
    async with Plc(free_port) as plc:
        await plc.machine("N1", State=3, Count=ua.Variant(0, UINT32))
        told = await plc.server.get_event_generator(ua.NodeId(ua.ObjectIds.GeneralModelChangeEventType))
        async with Watching(plant_file(plc.url, ONE)) as watching:
            await watching.until_link("back")
            looks = looks_at(plc, "N1/Count")
            for count in range(1, 8):
                await told.trigger()
                await plc.write("N1/Count", ua.Variant(count, UINT32))
                await watching.until(lambda count=count: watching.values("part_count")[-1] == count)
            await asyncio.sleep(2 * chores.PERIOD_S)
    assert looks == []


def looks_at(plc: Plc, name: str) -> list[ua.ReadParameters]:
    """The reads of this node from now on."""
    service, looks = plc.server.iserver.attribute_service, []
    read = service.read

    def noted(asked: ua.ReadParameters) -> Any:
        if any(one.NodeId == plc.nodes[name].nodeid for one in asked.NodesToRead):
            looks.append(asked)
        return read(asked)

    service.read = noted
    return looks


async def test_a_server_whose_places_are_taken_is_asked_again_soon(
    free_port: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    # as after many failures, without waiting for them
    monkeypatch.setattr(supervise, "FIRST_DELAY_S", 60.0)
    async with Plc(free_port) as plc:
        await plc.machine("N1", State=3, Count=ua.Variant(0, UINT32))

        def full(*_: object, **__: object) -> None:
            raise ServiceError(ua.StatusCodes.BadTooManySessions)

        monkeypatch.setattr(plc.server.iserver, "create_session", full)
        async with Watching(plant_file(plc.url, ONE)) as watching:
            await watching.until(lambda: watching.supervisor.status.state == "waiting")
            status = watching.supervisor.status
    assert status.next_attempt_us is not None
    assert status.next_attempt_us - status.since_us <= supervise.FULL_DELAY_S * 1e6
    assert "no session left for us; it frees abandoned ones after a while" in status.last_error
