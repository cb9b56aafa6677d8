"""The simulator's OPC UA server as a client sees it: paths, types, units, states, exact time stamps.

NodeIds, browse names, data types and state numbers are those of the published models of OPC 40501-1,
OPC 40001-1, OPC 40502, OPC 40001-4 and OPC 34100; unit codes are UNECE Recommendation 20.
"""

import asyncio
import json
import os
import subprocess
import sys
import time
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path

import pytest
from asyncua import Client, ua

import swarfline_sim
from swarfline_sim.eu import unit_id
from swarfline_sim.events import Event
from swarfline_sim.machine import Machine
from swarfline_sim.scenario import plant
from swarfline_sim.timeline import Timeline

pytestmark = pytest.mark.system

URIS = {
    "di": "http://opcfoundation.org/UA/DI/",
    "mch": "http://opcfoundation.org/UA/Machinery/",
    "mt": "http://opcfoundation.org/UA/MachineTool/",
    "cnc": "http://opcfoundation.org/UA/CNC",
    "en": "http://opcfoundation.org/UA/Machinery/Energy/",
    "ecm": "http://opcfoundation.org/UA/ECM/",
    "sim": "urn:swarfline:simulator",
}
V = ua.VariantType
MONITORING = "mt:Monitoring/mt:MachineTool"
ITEM_STATE = f"{MONITORING}/mch:MachineryItemState/ua:CurrentState"
PROGRAM = "mt:Production/mt:ActiveProgram"
JOB = "mt:Production/mt:ProductionPlan/sim:Job"
CNC = "cnc:CncInterface"
MAIN = "mch:Monitoring/mch:Consumption/en:Electricity/en:Main"
PATHS = {
    ITEM_STATE: V.LocalizedText,
    f"{ITEM_STATE}/ua:Id": V.NodeId,
    f"{ITEM_STATE}/ua:Number": V.UInt32,
    "mch:MachineryBuildingBlocks/mch:MachineryItemState/ua:CurrentState/ua:Number": V.UInt32,
    f"{MONITORING}/mt:OperationMode": V.Int32,
    f"{MONITORING}/mt:IsWarmUp": V.Boolean,
    f"{MONITORING}/mt:FeedOverride": V.Double,
    f"{MONITORING}/di:OperationCounters/mt:PartsProducedInLifetime": V.UInt64,
    f"{MONITORING}/di:OperationCounters/di:PowerOnDuration": V.Double,
    f"{PROGRAM}/mt:Name": V.String,
    f"{PROGRAM}/ua:NumberInList": V.UInt16,
    f"{PROGRAM}/mt:State/ua:CurrentState/ua:Id": V.NodeId,
    f"{PROGRAM}/mt:State/ua:CurrentState/ua:Number": V.UInt32,
    f"{JOB}/mt:Identifier": V.String,
    f"{JOB}/mt:RunsPlanned": V.UInt32,
    f"{JOB}/mt:RunsPlanned/mt:IsValid": V.Boolean,
    f"{JOB}/sim:PartNumber": V.String,
    "sim:Quality/sim:GoodCount": V.UInt32,
    "sim:Quality/sim:ScrapCount": V.UInt32,
    f"{CNC}/cnc:CncChannelList/cnc:Channel1/cnc:ToolId": V.UInt32,
    f"{CNC}/cnc:Channel1/cnc:ToolId": V.UInt32,
    f"{CNC}/cnc:Channel1/cnc:FeedHold": V.Boolean,
    f"{CNC}/cnc:CncSpindleList/cnc:Spindle1/cnc:ActSpeed": V.Double,
    f"{CNC}/cnc:Spindle1/cnc:ActSpeed": V.Double,
    f"{CNC}/cnc:Spindle1/cnc:ActLoad": V.Double,
    "sim:Motion/sim:ToolChanging": V.Boolean,
    "sim:Motion/sim:Positioning": V.Boolean,
    f"{MAIN}/ecm:AcActivePowerTotal": V.Float,
    f"{MAIN}/ecm:AcActiveEnergyTotalImportHp": V.Double,
    "sim:Alarm/sim:Active": V.Boolean,
    "sim:Alarm/sim:Code": V.String,
    "sim:Alarm/sim:Text": V.String,
    "di:Identification/di:ProductInstanceUri": V.String,
    "di:Identification/di:Manufacturer": V.LocalizedText,
    "di:Identification/di:SerialNumber": V.String,
}
UNITS = {
    f"{MONITORING}/mt:FeedOverride": "P1",
    f"{CNC}/cnc:Spindle1/cnc:ActSpeed": "C94",
    f"{CNC}/cnc:Spindle1/cnc:ActLoad": "P1",
    f"{MAIN}/ecm:AcActivePowerTotal": "WTT",
    f"{MAIN}/ecm:AcActiveEnergyTotalImportHp": "WHR",
}
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
SPEED = 30
SEED = 11


def us_of(moment):
    if moment.tzinfo is None:
        moment = moment.replace(tzinfo=UTC)
    return (moment - EPOCH) // timedelta(microseconds=1)


class Simulator:
    """``swarfline-sim serve`` as a process on a free port."""

    def __init__(self, *arguments):
        env = {**os.environ, "PYTHONPATH": str(Path(swarfline_sim.__file__).parents[1])}
        command = [sys.executable, "-m", "swarfline_sim", "serve", "--port", "0", "--seed", str(SEED), *arguments]
        self.process = subprocess.Popen(command, env=env, stdout=subprocess.PIPE, text=True)
        ready = self.process.stdout.readline().split()
        assert ready[:2] == ["swarfline-sim", "ready"], ready
        self.url = ready[2]

    def stop(self):
        self.process.terminate()
        self.process.wait(10)
        self.process.stdout.close()

    def kill(self):
        self.process.kill()
        self.process.wait(10)
        self.process.stdout.close()


class Look:
    """A client that finds nodes of one machine by ``prefix:Name`` paths."""

    def __init__(self, client, indexes):
        self._client = client
        self.indexes = indexes

    @classmethod
    async def at(cls, client):
        indexes = {prefix: await client.get_namespace_index(uri) for prefix, uri in URIS.items()}
        return cls(client, {"ua": 0, **indexes})

    async def node(self, path, machine="N1"):
        names = [
            ua.QualifiedName(name, self.indexes[prefix])
            for prefix, _, name in (step.partition(":") for step in path.split("/"))
        ]
        return await self._client.get_node(ua.NodeId(machine, self.indexes["sim"])).get_child(names)


@pytest.fixture(scope="module")
def epoch_us():
    return time.time_ns() // 1000 - 20_000_000


@pytest.fixture(scope="module")
def options(epoch_us):
    epoch = (EPOCH + timedelta(microseconds=epoch_us)).isoformat()
    start = "2026-03-02T08:00:00Z"
    return ["--profile", "brisk", "--speed", str(SPEED), "--start", start, "--epoch", epoch, "--machines", "N1,S1"]


@pytest.fixture(scope="module")
def simulator(options, tmp_path_factory):
    truth = tmp_path_factory.mktemp("sim") / "truth.jsonl"
    made = Simulator(*options, "--truth", str(truth))
    yield made
    made.stop()


def model_events(name, epoch_us, until_us):
    """The events of the model, energy at the server's pace."""
    start_us = us_of(datetime(2026, 3, 2, 8, tzinfo=UTC))
    machine = Machine(plant([name], "brisk")[0], SEED, start_us, 5_000_000)
    return machine.advance(until_us).events


async def test_every_path_leads_to_a_value_of_its_type(simulator):
    async with Client(simulator.url) as client:
        look = await Look.at(client)
        for machine in ("N1", "S1"):
            for path, type_ in PATHS.items():
                value = await (await look.node(path, machine)).read_data_value()
                assert value.Value.VariantType == type_, path
                assert value.Value.Value is not None, path


async def test_units_and_ranges(simulator):
    assert (unit_id("WTT"), unit_id("P1"), unit_id("C94")) == (5723220, 20529, 4405556)
    async with Client(simulator.url) as client:
        look = await Look.at(client)
        for path, code in UNITS.items():
            unit = await (await look.node(f"{path}/ua:EngineeringUnits")).read_value()
            assert unit.UnitId == unit_id(code)
            assert unit.NamespaceUri == "http://www.opcfoundation.org/UA/units/un/cefact"
            assert (await (await look.node(f"{path}/ua:EURange")).read_value()).High > 0


async def test_machines_are_found_as_the_models_say(simulator):
    async with Client(simulator.url) as client:
        look = await Look.at(client)
        mch, mt = look.indexes["mch"], look.indexes["mt"]
        folder = client.get_node(ua.NodeId(1001, mch))
        machines = await folder.get_referenced_nodes(ua.ObjectIds.Organizes, ua.BrowseDirection.Forward)
        assert [(await node.read_browse_name()).Name for node in machines] == ["N1", "S1"]
        for node in machines:
            assert await node.read_type_definition() == ua.NodeId(13, mt)
            (add_in,) = await node.get_referenced_nodes(17604, ua.BrowseDirection.Forward)
            assert (await add_in.read_browse_name()) == ua.QualifiedName("Identification", look.indexes["di"])
        type_ = client.get_node(ua.NodeId(11, mt))
        (parent,) = await type_.get_referenced_nodes(ua.ObjectIds.HasSubtype, ua.BrowseDirection.Inverse)
        assert parent.nodeid == ua.NodeId(1012, mch)


async def test_one_node_by_two_roads(simulator):
    async with Client(simulator.url) as client:
        look = await Look.at(client)
        first = await look.node(f"{MONITORING}/mch:MachineryItemState")
        assert first == await look.node("mch:MachineryBuildingBlocks/mch:MachineryItemState")
        spindle = await look.node(f"{CNC}/cnc:CncSpindleList/cnc:Spindle1")
        assert spindle == await look.node(f"{CNC}/cnc:Spindle1")


async def test_tools_count_as_their_direction_says(simulator):
    async with Client(simulator.url) as client:
        look = await Look.at(client)
        (spec,) = plant(["N1"], "brisk")
        for tool in spec.magazine:
            pot = f"mt:Equipment/mt:Tools/sim:Pot{tool.pot}"
            life = f"{pot}/mt:ToolLife/sim:Life"
            read = {}
            for path in (
                f"{pot}/mt:ControlIdentifier1", f"{pot}/mt:Location/mt:PlaceNumber", f"{pot}/mt:Name",
                f"{life}/mt:Indication", f"{life}/mt:IsCountingUp", f"{life}/mt:EngineeringUnits",
                f"{life}/mt:StartValue", f"{life}/mt:WarningValue", f"{life}/mt:LimitValue", life,
            ):  # fmt: skip
                read[path.rpartition(":")[2]] = await (await look.node(path)).read_value()
            indication, code = {"time": (0, "HUR"), "count": (2, "C62"), "distance": (4, "MTR")}[tool.basis]
            whole = tool.limit / (3600 if tool.basis == "time" else 1)
            assert (read["ControlIdentifier1"], read["PlaceNumber"], read["Name"]) == (
                tool.number,
                tool.pot,
                tool.name,
            )
            assert (read["Indication"], read["EngineeringUnits"].UnitId) == (indication, unit_id(code))
            assert read["IsCountingUp"] is tool.counts_up
            ends = (0, whole) if tool.counts_up else (whole, 0)
            assert (read["StartValue"], read["LimitValue"]) == pytest.approx(ends)
            assert 0 <= read["WarningValue"] <= whole
            assert -0.2 * whole <= read["Life"] <= 1.2 * whole


async def test_what_never_changes_carries_the_start_of_plant_time(simulator):
    async with Client(simulator.url) as client:
        look = await Look.at(client)
        pot = plant(["N1"], "brisk")[0].magazine[0].pot
        life = f"mt:Equipment/mt:Tools/sim:Pot{pot}/mt:ToolLife/sim:Life"
        for path in (f"{life}/mt:Indication", f"{life}/mt:IsCountingUp", "di:Identification/di:SerialNumber"):
            value = await (await look.node(path)).read_data_value()
            assert value.SourceTimestamp == value.ServerTimestamp
            assert us_of(value.SourceTimestamp) == us_of(datetime(2026, 3, 2, 8, tzinfo=UTC))


class Watch:
    """Collects (source time, value) per node."""

    def __init__(self, indexes):
        self._indexes = indexes
        self.seen = {}

    def datachange_notification(self, node, value, data):
        stamp = data.monitored_item.Value.SourceTimestamp
        assert stamp == data.monitored_item.Value.ServerTimestamp
        self.seen.setdefault(node.nodeid, []).append((us_of(stamp), value))


STATE_IDS = {"not_available": 5005, "out_of_service": 5004, "not_executing": 5007, "executing": 5006}
PROGRAM_NUMBERS = {"ready": 0, "running": 1, "ended": 2, "interrupted": 3, "aborted": 4}


async def test_changes_carry_the_models_values_and_times(simulator, epoch_us):
    paths = {
        f"{ITEM_STATE}/ua:Id": "state",
        f"{PROGRAM}/mt:State/ua:CurrentState/ua:Number": "program_state",
        f"{MONITORING}/di:OperationCounters/mt:PartsProducedInLifetime": "part_count",
        f"{CNC}/cnc:Channel1/cnc:ToolId": "active_tool",
        f"{CNC}/cnc:Spindle1/cnc:ActLoad": "spindle_load",
        f"{MAIN}/ecm:AcActivePowerTotal": "power",
        f"{MAIN}/ecm:AcActiveEnergyTotalImportHp": "energy",
        "sim:Motion/sim:Positioning": "positioning",
    }
    async with Client(simulator.url) as client:
        look = await Look.at(client)
        mch = look.indexes["mch"]
        watch = Watch(look.indexes)
        subscription = await client.create_subscription(100, watch)
        nodes = {(await look.node(path)).nodeid: signal for path, signal in paths.items()}
        await subscription.subscribe_data_change([client.get_node(node) for node in nodes], queuesize=1000)
        await asyncio.sleep(4)
        await subscription.delete()
    convert = {
        "state": lambda value: ua.NodeId(STATE_IDS[value], mch),
        "program_state": PROGRAM_NUMBERS.__getitem__,
    }
    last_us = max(t_us for seen in watch.seen.values() for t_us, _ in seen)
    events = model_events("N1", epoch_us, last_us)
    for node, signal in nodes.items():
        seen = watch.seen[node]
        expected = [
            (event.t_us, convert.get(signal, lambda value: value)(event.value))
            for event in events
            if event.signal == signal and event.t_us >= seen[0][0]
        ]
        assert [item for item in seen if item[0] < last_us] == expected, signal
    energy = [t_us for node, signal in nodes.items() if signal == "energy" for t_us, _ in watch.seen[node]]
    assert max(b - a for a, b in pairwise(energy)) <= 5_000_000


async def test_killed_and_restarted_it_goes_on_with_the_same_timeline(options, epoch_us, tmp_path):
    truth = tmp_path / "truth.jsonl"
    first = Simulator(*options, "--truth", str(truth))
    await asyncio.sleep(0.5)
    first.kill()
    second = Simulator(*options, "--truth", str(truth))
    async with Client(second.url) as client:
        look = await Look.at(client)
        node = await look.node(f"{CNC}/cnc:CncSpindleList/cnc:Spindle1/cnc:ActLoad")
        value = await node.read_data_value()
    started = time.monotonic()
    second.stop()
    assert time.monotonic() - started < 2.5
    source_us = us_of(value.SourceTimestamp)
    loads = [e for e in model_events("N1", epoch_us, source_us + 1) if e.signal == "spindle_load"]
    assert loads[-1] == Event(source_us, "N1", "spindle_load", value.Value.Value)
    records = [json.loads(line) for line in truth.read_text().splitlines()]
    totals = [r for r in records if r["kind"] == "totals"]
    assert [r["machine"] for r in totals] == ["N1", "S1"]
    start_us = us_of(datetime(2026, 3, 2, 8, tzinfo=UTC))
    for total in totals:
        machine = Machine(plant([total["machine"]], "brisk")[0], SEED, start_us)
        expected = [*machine.advance(total["at_us"]).truth, *machine.finish()]
        told = [r for r in records if r["machine"] == total["machine"]]
        assert sorted(map(json.dumps, told)) == sorted(map(json.dumps, expected))


def test_timeline_never_runs_before_its_start():
    timeline = Timeline(1_000, 500, 10.0)
    assert [timeline.plant_us(real) for real in (400, 500, 600)] == [1_000, 1_000, 2_000]
