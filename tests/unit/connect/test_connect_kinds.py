"""Machines by type and proposals by standard, on servers made here: versions, subtypes, several paths, CNC.

Type numbers and paths: the published models of OPC 40501-1 (1.00 to 1.02), OPC 40001-1 and OPC 40502.
"""

from __future__ import annotations

from collections.abc import AsyncIterator
from typing import Any

import pytest
from asyncua import ua

from swarfline.connect import explore
from swarfline.connect.sighting import Proposal
from swarfline.connect.surveyed import FoundMachine, Surveyed
from swarfline.connect.walk import Bounds
from swarfline.plant.addresses import KNOWN_NAMESPACES
from swarfline.plant.model import Machine, Server

from .plc import Plc

U32, U64, I32 = ua.VariantType.UInt32, ua.VariantType.UInt64, ua.VariantType.Int32


class Typed:
    """A server with the types of the specifications, as far as they tell machines apart."""

    def __init__(self, plc: Plc) -> None:
        self.plc = plc
        self.index: dict[str, int] = {"ua": 0, "t": plc.index}
        self.types: dict[str, Any] = {}

    async def fill(self) -> None:
        for prefix in ("mt", "mch", "di", "cnc", "en", "ecm"):
            self.index[prefix] = await self.plc.server.register_namespace(KNOWN_NAMESPACES[prefix])
        base = self.plc.server.nodes.base_object_type
        for name, number in (
            ("mt:MachineToolType", 13), ("mt:ChannelMonitoringType", 16), ("mt:ProductionJobType", 29),
            ("mch:MachineIdentificationType", 1012), ("cnc:CncInterfaceType", 1007),
            ("cnc:CncChannelType", 1002), ("cnc:CncSpindleType", 1005),
        ):  # fmt: skip
            prefix, _, plain = name.partition(":")
            node = ua.NodeId(number, self.index[prefix])
            self.types[name] = await base.add_object_type(node, ua.QualifiedName(plain, self.index[prefix]))

    def name(self, step: str) -> ua.QualifiedName:
        prefix, _, plain = step.partition(":")
        return ua.QualifiedName(plain, self.index[prefix])

    async def object(self, parent: Any, step: str, kind: str | None = None) -> Any:
        node = ua.NodeId(f"{parent.nodeid.Identifier}/{step}", self.plc.index)
        return await parent.add_object(node, self.name(step), self.types[kind].nodeid if kind else None)

    async def put(self, parent: Any, path: str, value: Any, kind: ua.VariantType | None = None) -> Any:
        """A variable at a path of plain objects."""
        *above, last = path.split("/")
        for step in above:
            known = {
                str((await child.read_browse_name()).to_string()): child for child in await parent.get_children()
            }
            wanted = self.name(step).to_string()
            parent = known[wanted] if wanted in known else await self.object(parent, step)
        node = ua.NodeId(f"{parent.nodeid.Identifier}/{last}", self.plc.index)
        return await parent.add_variable(node, self.name(last), ua.Variant(value, kind))


@pytest.fixture
async def typed(free_port: int) -> AsyncIterator[Typed]:
    async with Plc(free_port) as plc:
        typed = Typed(plc)
        await typed.fill()
        yield typed


async def look(typed: Typed) -> Surveyed:
    machines = (Machine(id="survey"),)
    server = Server(id="s", endpoint=typed.plc.url, machines=machines)
    seen = await explore(server, "", Bounds(), 0, lambda *_: None)
    assert seen.problem == ""
    return seen


def paths(machine: FoundMachine) -> dict[str, str]:
    depth = len(machine.path)
    return {p.signal: "/".join(name for _, name in p.variable.path[depth:]) for p in machine.proposals}


def proposal(machine: FoundMachine, signal: str) -> Proposal:
    return next(p for p in machine.proposals if p.signal == signal)


async def test_version_1_00_has_no_state_and_its_counter_elsewhere(typed: Typed) -> None:
    tool = await typed.object(typed.plc.server.nodes.objects, "t:Mill", "mt:MachineToolType")
    await typed.put(tool, "mt:Monitoring/mt:MachineTool/mt:OperationMode", 1, I32)
    await typed.put(tool, "mt:Production/mt:ActiveProgram/mt:Name", "O1")
    await typed.put(tool, "mt:Production/mt:Statistics/mt:PartsProducedInLifetime", 5, U32)
    channel = await typed.object(
        await tool.get_child([typed.name("mt:Monitoring")]), "t:Ch", "mt:ChannelMonitoringType"
    )
    await typed.put(channel, "mt:ChannelState", 0, I32)
    machine = (await look(typed)).machines[0]
    assert (machine.name, machine.kind) == ("Mill", "machine tool")
    assert paths(machine) == {
        "executing": "Monitoring/Ch/ChannelState",
        "mode": "Monitoring/MachineTool/OperationMode",
        "program": "Production/ActiveProgram/Name",
        "part_count": "Production/Statistics/PartsProducedInLifetime",
    }
    assert proposal(machine, "part_count").width == 32
    assert proposal(machine, "executing").sureness == "likely"
    assert proposal(machine, "executing").values == {"0": True, "1": False, "2": False}


async def test_the_newer_place_is_first_and_the_older_one_its_rival(typed: Typed) -> None:
    tool = await typed.object(typed.plc.server.nodes.objects, "t:Mill", "mt:MachineToolType")
    counters = "mt:Monitoring/mt:MachineTool/di:OperationCounters"
    await typed.put(tool, f"{counters}/mt:PartsProducedInLifetime", 7, U64)
    old = await typed.put(tool, "mt:Production/mt:Statistics/mt:PartsProducedInLifetime", 7, U32)
    found = proposal((await look(typed)).machines[0], "part_count")
    assert (found.sureness, found.width, found.question) == ("sure", 64, "")
    assert [node.partition(";")[2] for node in found.rivals] == [old.nodeid.to_string().partition(";")[2]]


async def test_a_node_that_cannot_be_read_comes_after_one_that_can(typed: Typed) -> None:
    tool = await typed.object(typed.plc.server.nodes.objects, "t:Mill", "mt:MachineToolType")
    state = "mt:Monitoring/mt:MachineTool/mch:MachineryItemState/ua:CurrentState"
    current = await typed.put(tool, state, "Executing")
    typed.plc.nodes["number"] = await current.add_property(
        ua.NodeId("number", typed.plc.index), ua.QualifiedName("Number", 0), ua.Variant(3, U32)
    )
    await current.add_property(
        ua.NodeId("id", typed.plc.index), ua.QualifiedName("Id", 0), ua.NodeId(5006, typed.index["mch"])
    )
    assert proposal((await look(typed)).machines[0], "state").variable.name == "Number"
    await typed.plc.write("number", ua.Variant(3, U32), status=ua.StatusCodes.BadNotReadable)
    found = proposal((await look(typed)).machines[0], "state")
    assert (found.variable.name, found.variable.value) == ("Id", "mch:5006")


async def test_a_subtype_a_name_plate_and_several_paths(typed: Typed) -> None:
    objects = typed.plc.server.nodes.objects
    typed.types["own"] = await typed.types["mt:MachineToolType"].add_object_type(typed.plc.index, "LatheType")
    lathe = await typed.object(objects, "t:Lathe", "own")
    group = await typed.object(objects, "t:Group")
    await group.add_reference(lathe, ua.ObjectIds.Organizes)
    washer = await typed.object(group, "t:Washer")
    await typed.object(washer, "di:Identification", "mch:MachineIdentificationType")
    await typed.put(washer, "t:Running", True)
    inner = await typed.object(lathe, "t:Feeder")
    await typed.object(inner, "di:Identification", "mch:MachineIdentificationType")
    seen = await look(typed)
    assert [(m.name, m.kind, [n for _, n in m.path]) for m in seen.machines] == [
        ("Lathe", "machine tool", ["Lathe"]),
        ("Washer", "machine", ["Group", "Washer"]),
    ]
    assert "a subtype of MachineToolType" in seen.machines[0].reason
    assert [v.name for v in seen.machines[1].others] == ["Running"]


async def test_a_control_with_two_channels_asks_which(typed: Typed) -> None:
    control = await typed.object(typed.plc.server.nodes.objects, "t:Control", "cnc:CncInterfaceType")
    for name in ("t:Left", "t:Right"):
        channel = await typed.object(control, name, "cnc:CncChannelType")
        await typed.put(channel, "cnc:ToolId", 4, U32)
        await typed.put(channel, "cnc:ActOperationMode", 2, I32)
    spindle = await typed.object(control, "t:Main", "cnc:CncSpindleType")
    await typed.put(spindle, "cnc:ActSpeed", 900.0)
    machine = (await look(typed)).machines[0]
    assert machine.kind == "cnc"
    tool = proposal(machine, "active_tool")
    assert (tool.sureness, tool.question) == ("guess", "which channel is meant? There are 2")
    assert len(tool.rivals) == 1
    assert proposal(machine, "mode").values == {"0": "manual", "1": "mdi", "2": "automatic"}
    assert (proposal(machine, "spindle_speed").sureness, proposal(machine, "spindle_speed").question) == (
        "sure",
        "",
    )


async def test_energy_says_its_unit_where_the_node_does_not(typed: Typed) -> None:
    tool = await typed.object(typed.plc.server.nodes.objects, "t:Mill", "mt:MachineToolType")
    main = "mch:Monitoring/mch:Consumption/en:Electricity/en:Main"
    await typed.put(tool, f"{main}/ecm:AcActivePowerTotal", 900.0)
    await typed.put(tool, f"{main}/ecm:AcActiveEnergyTotalImportLp", 5.0)
    machine = (await look(typed)).machines[0]
    assert (proposal(machine, "power").unit, proposal(machine, "energy").unit) == ("W", "Wh")


async def test_a_server_that_resolves_no_paths_is_surveyed_without_them(
    typed: Typed, monkeypatch: pytest.MonkeyPatch
) -> None:
    tool = await typed.object(typed.plc.server.nodes.objects, "t:Mill", "mt:MachineToolType")
    await typed.put(tool, "mt:Monitoring/mt:MachineTool/mt:OperationMode", 1, I32)

    def refuse(*_: Any, **__: Any) -> Any:
        raise ua.UaStatusCodeError(ua.StatusCodes.BadServiceUnsupported)

    monkeypatch.setattr(typed.plc.server.iserver.view_service, "translate_browsepaths_to_nodeids", refuse)
    seen = await look(typed)
    assert [(m.name, m.proposals) for m in seen.machines] == [("Mill", [])]
    assert [v.name for v in seen.machines[0].others] == ["OperationMode"]
    assert "paths of Mill" in [trouble.example for trouble in seen.troubles]
