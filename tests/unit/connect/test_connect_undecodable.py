"""A value whose bytes cannot be decoded: found among the others and set aside; the session stays."""

from __future__ import annotations

import asyncio
from typing import Any

import pytest
from asyncua import ua

from swarfline.signals import LINK_BACK, Quality

from .plc import Plc
from .watching import Watching, plant_file

UINT32 = ua.VariantType.UInt32
# the encoding of EUInformation (OPC 10000-6, NodeId i=889), whose body ends too soon
BROKEN = ua.ExtensionObject(TypeId=ua.NodeId(889), Body=b"\xff")
MACHINE = {"N1": {"signals": {"state": "t:State", "part_count": "t:Count", "alarm_text": "t:Text"}}}


@pytest.fixture
def line(free_port: int) -> Plc:
    return Plc(free_port)


async def machine(line: Plc, text: Any = "well") -> None:
    # values of any type, whatever the node's is
    line.server.iserver.aspace._is_expected_variant_type = lambda *_: True
    await line.machine("N1", State=3, Count=ua.Variant(1, UINT32), Text="well")
    if text != "well":
        await line.write("N1/Text", text)


async def test_its_other_attributes_do_not_bring_it_back(line: Plc, monkeypatch: pytest.MonkeyPatch) -> None:
    """A number's unit is looked for at each attempt, also in its data type, which can be read well."""
    monkeypatch.setattr("swarfline.connect.chores.RETRY_S", 0.3)
    signals = {"state": "t:State", "part_count": "t:Count", "power": "t:Power"}
    async with line:
        await machine(line)
        await line.variable("N1", "Power", 1.0)
        async with Watching(plant_file(line.url, {"N1": {"signals": signals}})) as watching:
            await watching.until_link(LINK_BACK)
            await line.write("N1/Power", ua.Variant(BROKEN))
            await watching.until(lambda: "N1/power" in watching.supervisor.status.refused)
            await watching.until_link(LINK_BACK, 2)
            await asyncio.sleep(1.0)
            assert "N1/power" in watching.supervisor.status.refused
            assert len(watching.links(LINK_BACK)) == 2


def is_set_aside(watching: Watching) -> bool:
    return watching.supervisor.status.refused == {"N1/alarm_text": "its value cannot be decoded"}


@pytest.mark.parametrize("access", ["subscribe", "read"])
async def test_it_is_found_and_set_aside_while_the_session_goes_on(line: Plc, access: str) -> None:
    async with line:
        await machine(line)
        async with Watching(plant_file(line.url, MACHINE, access=access)) as watching:
            await watching.until_link(LINK_BACK)
            await line.write("N1/Text", ua.Variant(BROKEN))
            await watching.until(lambda: is_set_aside(watching))
            await watching.until_link(LINK_BACK, 1 if access == "read" else 2)
            await line.write("N1/Count", ua.Variant(2, UINT32))
            await watching.until(lambda: watching.values("part_count")[-1] == 2)
            status = watching.supervisor.status
            assert (status.reconnects, status.state, status.signals) == (0, "connected", 2)
            assert status.ignored["not_decoded"] == 1
            assert watching.of("alarm_text")[-1].quality == Quality.BAD


async def test_one_that_never_could_be_decoded_keeps_nothing_from_the_others_and_comes_back(
    line: Plc, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("swarfline.connect.chores.RETRY_S", 0.3)
    async with line:
        await machine(line, BROKEN)
        async with Watching(plant_file(line.url, MACHINE)) as watching:
            await watching.until_link(LINK_BACK)
            await watching.until(lambda: is_set_aside(watching))
            await line.write("N1/Count", ua.Variant(2, UINT32))
            await watching.until(lambda: watching.values("part_count") == [1, 2])
            await line.write("N1/Text", "well again")
            await watching.until(lambda: watching.values("alarm_text")[-1:] == ["well again"])
            assert (watching.supervisor.status.refused, watching.supervisor.status.reconnects) == ({}, 0)
