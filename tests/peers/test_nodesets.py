"""The simulator's machines and types against the official nodeset files and node-opcua's table of units.

Source: UANodeSet files of the OPC Foundation as the npm package node-opcua-nodesets carries them (OPC 10000-5,
40001-1, 40501-1 version 1.02, 40502).
"""

from __future__ import annotations

import re
from collections.abc import AsyncIterator, Callable
from typing import Any

import pytest
from asyncua import Client, Node, ua

from .browsed import Browser, Seen
from .compared import deviations
from .node import Script
from .nodeset import HAS_TYPE, UA, Key, Nodesets

pytestmark = pytest.mark.system

MT, CNC = "http://opcfoundation.org/UA/MachineTool/", "http://opcfoundation.org/UA/CNC"
MCH = "http://opcfoundation.org/UA/Machinery/"
STATE_TYPE, INITIAL_STATE_TYPE = (UA, 2307), (UA, 2309)
LEFT_OUT = re.compile(
    # docs/simulator.md: of the CNC model and of the job only what is used is there
    rf"/CncInterface.*: mandatory \w+ of {CNC} is missing"
    rf"|/Job: mandatory (ProductionPrograms|RunsCompleted|State) of {MT} is missing"
    # roads and objects that are meant: the specification lets a maker add components to an instance
    rf"|/[NS]1: CncInterface of {CNC} is not declared here"
    rf"|/[NS]1: Monitoring of {MCH} is not declared here"
    # the counters are one node with two roads to it; by the other one the counter is declared
    rf"|/MachineryBuildingBlocks/OperationCounters: PartsProducedInLifetime of {MT} is not declared here"
    rf"|/CncInterface: (Channel1|Spindle1) of {CNC} is not declared here"
)
"""The known deviations; each line of the comparison must be one of them."""


@pytest.fixture
async def browser(simulated: str) -> AsyncIterator[tuple[Client, Browser, list[str]]]:
    """A client of the simulator with its namespaces."""
    client = Client(simulated)
    client.session_timeout = 60_000
    async with client:
        spaces = await client.get_namespace_array()
        yield client, Browser(client, spaces), spaces


async def machines(browser: tuple[Client, Browser, list[str]]) -> Seen:
    client, browse, spaces = browser
    return await browse.see(client.get_node(ua.NodeId(1001, spaces.index(MCH))))


async def test_machines_are_as_their_types_declare(browser: Any, official: Nodesets) -> None:
    seen = await machines(browser)
    assert {machine.name[1] for machine in seen.members} == {"N1", "S1"}
    found = list(deviations(official, seen))
    assert [line for line in found if not LEFT_OUT.search(line)] == []
    assert any("mandatory ActProgramName" in line for line in found), "the comparison sees what is missing"


async def test_the_comparison_sees_each_kind_of_deviation(browser: Any, official: Nodesets) -> None:
    seen = await machines(browser)
    (machine,) = [member for member in seen.members if member.name[1] == "N1"]
    by_path = dict(machine.each())
    mode = by_path["/N1/Monitoring/MachineTool/OperationMode"]
    mode.data_type, mode.rank, mode.type_ = (UA, 12), 1, (UA, 68)
    by_path["/N1/Production"].members.clear()
    by_path["/N1/Equipment/Tools"].name = (MT, "Tool")
    found = "\n".join(deviations(official, machine))
    for wanted in (
        "OperationMode: data type", "OperationMode: value rank", "OperationMode: type definition",
        "mandatory ActiveProgram", "/N1/Equipment: Tool of",
    ):  # fmt: skip
        assert wanted in found


async def test_types_and_states_have_the_official_numbers_names_and_supertypes(
    browser: Any, official: Nodesets
) -> None:
    client, browse, spaces = browser
    found = await _shown_of(client, spaces, official)
    assert len(found) > 35, "types, states and enumerations of the companion specifications"
    wrong = []
    for key, node in found.items():
        name = await node.read_browse_name()
        if (spaces[name.NamespaceIndex], name.Name) != official.nodes[key].name:
            wrong.append(f"{key}: named {name}, officially {official.nodes[key].name}")
        wrong += [f"{key}: {line}" async for line in _above(node, key, browse, official)]
    assert wrong == []


async def _shown_of(client: Client, spaces: list[str], official: Nodesets) -> dict[Key, Node]:
    """The nodes of the companion specifications that the server shows, by their official keys."""
    keys = [key for key in official.nodes if key[0] != UA and key[0] in spaces]
    nodes = [client.get_node(ua.NodeId(number, spaces.index(space))) for space, number in keys]
    read = await client.read_attributes(nodes, ua.AttributeIds.BrowseName)
    return {key: node for key, node, value in zip(keys, nodes, read, strict=True) if value.StatusCode.is_good()}


async def _above(node: Node, key: Key, browse: Browser, official: Nodesets) -> AsyncIterator[str]:
    """What of a type's supertype, a state's type and number, and an enumeration's texts is not official."""
    inverse = ua.BrowseDirection.Inverse
    above = [browse.key(r.NodeId) for r in await node.get_references(ua.ObjectIds.HasSubtype, inverse)]
    if above and above != [official.supertype(key)]:
        yield f"below {above}, officially {official.supertype(key)}"
    type_ = official.nodes[key].one(HAS_TYPE)
    if type_ in (STATE_TYPE, INITIAL_STATE_TYPE):
        number = await (await node.get_child("0:StateNumber")).read_value()
        if str(number) != _value_of(official, key, "StateNumber"):
            yield f"state number {number}, officially {_value_of(official, key, 'StateNumber')}"
        if browse.key(await node.read_type_definition()) != type_:
            yield f"a {await node.read_type_definition()}, officially {type_}"
    wanted = _value_of(official, key, "EnumStrings")
    if wanted:
        texts = await (await node.get_child("0:EnumStrings")).read_value()
        if "|".join(text.Text for text in texts) != wanted:
            yield f"texts {[text.Text for text in texts]}, officially {wanted}"


def _value_of(official: Nodesets, key: Key, name: str) -> str:
    """The official value of a property as text, of a list joined by strokes; empty for none."""
    for node in official.below(key):
        if node.name == (UA, name) and node.value is not None:
            texts = [e.text or "" for e in node.value.iter() if e.tag.endswith("}Text")]
            return "|".join(texts) or (node.value[0].text or "")
    return ""


async def test_units_are_the_ones_of_the_table(browser: Any, script: Callable[..., Script]) -> None:
    official = {tuple(unit) for unit in script("units.mjs").answer()["units"]}
    shown = {
        (seen.value.Value.Value.UnitId, seen.value.Value.Value.NamespaceUri)
        for _, seen in (await machines(browser)).each()
        if seen.name[1] == "EngineeringUnits"
    }
    # the table has percent, watt and metre, but neither the hour, the watt hour, 1/min nor one
    assert {number for number, _ in shown & official} >= {20529, 5723220, 5067858}
    assert {number for number, _ in shown - official} <= {4740434, 5720146, 4405556, 4404786}
