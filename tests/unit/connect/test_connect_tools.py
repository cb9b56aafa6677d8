"""Tool lists of OPC 40501-1 and tools given one by one."""

from __future__ import annotations

from typing import Any

import pytest
from asyncua import ua

from swarfline.connect import chores
from swarfline.signals import Quality

from .plc import Plc
from .watching import STATE_AND_COUNT, Watching, plant_file

UINT32 = ua.VariantType.UInt32
LIST = {"N1": {"signals": STATE_AND_COUNT, "tools": {"objects": "t:Tools"}}}
TIME, PARTS, DISTANCE = 0, 1, 4


async def with_list(plc: Plc) -> Any:
    place = await plc.machine("N1", State=3, Count=ua.Variant(0, UINT32))
    return await place.add_object(plc.index, "Tools")


def tool(watching: Watching, key: int) -> dict[str, Any]:
    """The newest value of each field of a tool."""
    start = f"tools[{key}]."
    return {r.signal.removeprefix(start): r.value for r in watching.got if r.signal.startswith(start)}


async def test_lives_up_and_down_by_time_count_and_distance(free_port: int) -> None:
    async with Plc(free_port) as plc:
        tools = await with_list(plc)
        await plc.tool(
            tools, 1, up=True, indication=TIME, unit="h", value=0.75, start=0.25, warning=1.25, limit=2.25
        )
        await plc.tool(tools, 2, up=False, indication=PARTS, unit=None, value=30, start=100, warning=10, limit=0)
        await plc.tool(tools, 3, up=False, indication=DISTANCE, unit="mm", value=5000, start=20_000)
        await plc.tool(tools, 4, up=True, indication=TIME, unit="min", value=3)
        async with Watching(plant_file(plc.url, LIST)) as watching:
            await watching.until_link("back")
            await plc.write("Pot1/value", 1.0)
            await plc.write("Pot2/warning", 20.0)
            await watching.until(lambda: tool(watching, 1)["used"] == 2700.0)
            await watching.until(lambda: tool(watching, 2)["warning_remaining"] == 20.0)
            status = watching.supervisor.status
        named = {"locked": False}
        # hand calculation: (1.0 − 0.25) h = 2700 s of (2.25 − 0.25) h = 7200 s, warn at 3600 s
        assert tool(watching, 1) == named | {
            "number": "101", "pot": "1", "name": "Cutter 1", "life_basis": "time",
            "used": 2700.0, "limit": 7200.0, "warning_level": 3600.0,
        }  # fmt: skip
        assert tool(watching, 2) == named | {
            "number": "102", "pot": "2", "name": "Cutter 2", "life_basis": "count",
            "remaining": 30.0, "limit": 100.0, "warning_remaining": 20.0,
        }  # fmt: skip
        assert tool(watching, 3) == named | {
            "number": "103", "pot": "3", "name": "Cutter 3", "life_basis": "distance",
            "remaining": 5.0, "limit": 20.0,
        }  # fmt: skip
        assert tool(watching, 4)["used"] == 180.0
        assert "limit" not in tool(watching, 4)
        assert status.refused == {}


async def test_tools_come_and_go(free_port: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(chores, "TOOLS_S", 0.5)
    async with Plc(free_port) as plc:
        tools = await with_list(plc)
        first = await plc.tool(tools, 1, up=True, indication=PARTS, unit=None, value=1)
        async with Watching(plant_file(plc.url, LIST)) as watching:
            await watching.until_link("back")
            await plc.tool(tools, 2, up=True, indication=PARTS, unit=None, value=5, limit=9)
            await watching.until(lambda: tool(watching, 2).get("used") == 5.0)
            await plc.server.delete_nodes([first], recursive=True)
            await watching.until(lambda: watching.of("tools[1].used")[-1].quality == Quality.BAD)
            count = len(watching.of("tools[2].used"))
            # that its nodes are gone is seen a little before the list is read again
            await watching.until(lambda: watching.supervisor.status.signals == 2 + 7)
            assert len(watching.links("back")) == 1
        assert count == 1


async def test_the_lists_version_calls_for_a_look(free_port: int) -> None:
    async with Plc(free_port) as plc:
        tools = await with_list(plc)
        plc.nodes["version"] = await tools.add_property(0, "NodeVersion", "1")
        async with Watching(plant_file(plc.url, LIST)) as watching:
            await watching.until_link("back")
            await plc.tool(tools, 6, up=True, indication=PARTS, unit=None, value=5)
            await plc.write("version", "2")
            await watching.until(lambda: tool(watching, 6).get("used") == 5.0, 10.0)


async def test_two_magazines_with_the_same_place_keep_apart(free_port: int) -> None:
    async with Plc(free_port) as plc:
        tools = await with_list(plc)
        for pot in (1, 2):
            await plc.tool(tools, pot, up=True, indication=PARTS, unit=None, value=pot)
        second = await tools.get_child([f"{plc.index}:Pot2", f"{plc.mt}:Location", f"{plc.mt}:PlaceNumber"])
        await second.write_value(ua.Variant(1, ua.VariantType.UInt16))
        async with Watching(plant_file(plc.url, LIST)) as watching:
            await watching.until_link("back")
        assert watching.values("tools[Pot1].used") == [1.0]
        assert watching.values("tools[Pot2].used") == [2.0]


async def test_a_life_that_cannot_be_read_is_said(free_port: int) -> None:
    async with Plc(free_port) as plc:
        tools = await with_list(plc)
        await plc.tool(tools, 1, up=True, indication=TIME, unit="bar", value=1)
        await plc.tool(tools, 2, up=True, indication=7, unit=None, value=1)
        async with Watching(plant_file(plc.url, LIST)) as watching:
            await watching.until_link("back")
            refused = watching.supervisor.status.refused
        assert "'bar'" in refused["N1/tools[1]"]
        assert "mt:Indication" in refused["N1/tools[2]"]
        assert tool(watching, 1)["number"] == "101"
        assert "used" not in tool(watching, 1)


async def test_a_missing_list_is_refused_and_found_later(free_port: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(chores, "RETRY_S", 0.5)
    async with Plc(free_port) as plc:
        place = await plc.machine("N1", State=3, Count=ua.Variant(0, UINT32))
        async with Watching(plant_file(plc.url, LIST)) as watching:
            await watching.until_link("back")
            assert "BadNoMatch" in watching.supervisor.status.refused["N1/tools"]
            tools = await place.add_object(plc.index, "Tools")
            await plc.tool(tools, 1, up=True, indication=PARTS, unit=None, value=4)
            await watching.until(lambda: tool(watching, 1).get("used") == 4.0)
            assert watching.supervisor.status.refused == {}


async def test_tools_one_by_one(free_port: int) -> None:
    async with Plc(free_port) as plc:
        await plc.machine("N1", State=3, Count=ua.Variant(0, UINT32), T1=12, Lives=[7.0, 9.0])
        await plc.variable("N1", "T1Limit", 2.0, unit="min")
        each = {
            "1": {
                "number": "t:T1",
                "used": {"node": "t:Lives", "index": 1, "unit": "h"},
                "limit": "t:T1Limit",
                "life_basis": {"node": "t:T1", "values": {"12": "time"}},
            }
        }
        raw = plant_file(plc.url, {"N1": {"signals": STATE_AND_COUNT, "tools": {"each": each}}})
        async with Watching(raw) as watching:
            await watching.until_link("back")
        assert tool(watching, 1) == {"number": "12", "used": 32_400.0, "limit": 120.0, "life_basis": "time"}
