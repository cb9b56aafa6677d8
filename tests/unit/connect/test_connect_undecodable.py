"""A value whose bytes cannot be decoded: found among the others and set aside; the session stays."""

from __future__ import annotations

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


async def test_one_that_never_could_be_decoded_keeps_the_others_from_nothing(line: Plc) -> None:
    async with line:
        await machine(line, BROKEN)
        async with Watching(plant_file(line.url, MACHINE)) as watching:
            await watching.until_link(LINK_BACK)
            await watching.until(lambda: is_set_aside(watching))
            assert watching.supervisor.status.reconnects == 0
            await line.write("N1/Count", ua.Variant(2, UINT32))
            await watching.until(lambda: watching.values("part_count") == [1, 2])


async def test_it_comes_back_when_it_can_be_decoded(line: Plc, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("swarfline.connect.chores.RETRY_S", 0.3)
    async with line:
        await machine(line, BROKEN)
        async with Watching(plant_file(line.url, MACHINE)) as watching:
            await watching.until(lambda: is_set_aside(watching))
            await line.write("N1/Text", "well again")
            await watching.until(lambda: watching.values("alarm_text")[-1:] == ["well again"])
            assert (watching.supervisor.status.refused, watching.supervisor.status.reconnects) == ({}, 0)
