"""One machine in the address space, as OPC 40501-1 and 40001-1 lay it out, and which signal shows where."""

from __future__ import annotations

from asyncua import ua
from asyncua.ua.object_ids import ObjectIds

from swarfline_sim.bindings import Bindings, Convert, Target, as_type, by_table, first_value
from swarfline_sim.controlvariables import SIGNALS, ControlVariables
from swarfline_sim.eu import unit
from swarfline_sim.events import WARM_UP
from swarfline_sim.namespaces import standard
from swarfline_sim.nodes import FOLDER, HAS_ADD_IN, HAS_ORDERED, ORGANIZES, NodeBuilder
from swarfline_sim.spec import MachineSpec
from swarfline_sim.toolnodes import add_tools
from swarfline_sim.types import ITEM_STATES, OPERATION_MODES, PROGRAM_STATES

V = ua.VariantType

POWER_ON = "power_on_ms"
"""Not a signal of the model: the display counts it."""


OWN = {
    "sim:Motion": (
        ("sim:ToolChanging", "tool_changing", V.Boolean),
        ("sim:Positioning", "positioning", V.Boolean),
    ),
    "sim:Quality": (("sim:GoodCount", "good_count", V.UInt32), ("sim:ScrapCount", "scrap_count", V.UInt32)),
    "sim:Alarm": (
        ("sim:Active", "alarm", V.Boolean),
        ("sim:Code", "alarm_code", V.String),
        ("sim:Text", "alarm_text", V.String),
    ),
}
"""Objects of our own: (browse name, signal, type) of their variables."""


class MachineLayout:
    """Builds the nodes of one machine; ``bindings`` tells what to write where."""

    def __init__(self, nodes: NodeBuilder, spec: MachineSpec, machines: ua.NodeId) -> None:
        self._nodes = nodes
        self._names = nodes.namespaces
        self.bindings: Bindings = {}
        type_ = self._type("mt", 13)
        node = self._names.own(spec.name)
        self.root = nodes.object(machines, f"sim:{spec.name}", type_, ORGANIZES, node)
        self._identification(spec)
        self._tool = self._monitoring()
        self._state(self._tool)
        self._equipment = nodes.object(self.root, "mt:Equipment", self._type("mt", 12))
        nodes.object(self.root, "mt:Notification", self._type("mt", 7))

    def whole(self, spec: MachineSpec) -> None:
        """All that the specifications have, and our own objects for the rest."""
        self._counters(self._tool)
        self._production()
        self.bindings |= add_tools(self._nodes, self._equipment, spec.magazine)
        self._control()
        self._own()
        self._energy()

    def partial(self, spec: MachineSpec, language: str) -> None:
        """Identification, state, mode and the active program as specified; the rest as the control calls it."""
        production = self._nodes.object(self.root, "mt:Production", self._type("mt", 21))
        self._active_program(production)
        folder = self._nodes.object(self.root, "sim:ControlData", FOLDER)
        own = ControlVariables(self._nodes, folder, f"{spec.name}.", language)
        own.signals(signal for signal in SIGNALS if signal not in self.bindings)
        own.tools(spec.magazine)
        own.decoys()
        self.bindings |= own.bindings

    def _type(self, prefix: str, identifier: int) -> ua.NodeId:
        return self._names.number(prefix, identifier)

    def _bind(self, signal: str, node: ua.NodeId, convert: Convert) -> None:
        self.bindings.setdefault(signal, []).append(Target(node, convert))

    def _shown(
        self, parent: ua.NodeId, name: str, signal: str, type_: ua.VariantType, as_property: bool = False
    ) -> ua.NodeId:
        """A plain variable or property that shows a signal."""
        add = self._nodes.property if as_property else self._nodes.variable
        node = add(parent, name, first_value(type_))
        self._bind(signal, node, as_type(type_))
        return node

    def _analog(
        self, parent: ua.NodeId, name: str, signal: str, code: str, high: float, type_: ua.VariantType = V.Double
    ) -> ua.NodeId:
        """A variable with unit and range that shows a signal."""
        analog = standard(ObjectIds.AnalogUnitRangeType)
        node = self._nodes.variable(parent, name, ua.Variant(0.0, type_), analog)
        self._nodes.structure_property(node, "ua:EngineeringUnits", unit(code), standard(ObjectIds.EUInformation))
        self._nodes.structure_property(node, "ua:EURange", ua.Range(0.0, high), standard(ObjectIds.Range))
        self._bind(signal, node, as_type(type_))
        return node

    def _identification(self, spec: MachineSpec) -> None:
        parent = self._nodes.object(self.root, "di:Identification", self._type("mt", 11), HAS_ADD_IN)
        for name, text in (
            ("di:ProductInstanceUri", f"urn:simulated-works:machining-centre:{spec.name}"),
            ("di:SerialNumber", f"SW-{spec.first_lot}"),
            ("mch:Location", f"{spec.cell} cell"),
        ):
            self._nodes.property(parent, name, ua.Variant(text, V.String))
        for name, text in (("di:Manufacturer", "Simulated works"), ("di:ComponentName", spec.name)):
            self._nodes.property(parent, name, ua.Variant(ua.LocalizedText(text), V.LocalizedText))

    def _monitoring(self) -> ua.NodeId:
        monitoring = self._nodes.object(self.root, "mt:Monitoring", self._type("mt", 14))
        tool = self._nodes.object(monitoring, "mt:MachineTool", self._type("mt", 26))
        mode = self._nodes.variable(
            tool, "mt:OperationMode", ua.Variant(1, V.Int32), data_type=self._type("mt", 65)
        )
        self._bind("mode", mode, lambda value: ua.Variant(OPERATION_MODES[str(value)], V.Int32))
        self._shown(tool, "mt:IsWarmUp", WARM_UP, V.Boolean)
        self._analog(tool, "mt:FeedOverride", "feed_override", "P1", 150.0)
        return tool

    def _state(self, tool: ua.NodeId) -> None:
        state = self._nodes.object(tool, "mch:MachineryItemState", self._type("mch", 1002), HAS_ADD_IN)
        self._state_machine(state, "state", "mch", ITEM_STATES)
        self.blocks = self._nodes.object(self.root, "mch:MachineryBuildingBlocks", FOLDER)
        self._nodes.also(self.blocks, state, HAS_ADD_IN)

    def _state_machine(
        self, parent: ua.NodeId, signal: str, prefix: str, states: dict[str, tuple[str, int, int]]
    ) -> None:
        first = ua.Variant(ua.LocalizedText(""), V.LocalizedText)
        current = self._nodes.variable(
            parent, "ua:CurrentState", first, standard(ObjectIds.FiniteStateVariableType)
        )
        identity = self._nodes.property(current, "ua:Id", ua.Variant(ua.NodeId(), V.NodeId))
        number = self._nodes.property(current, "ua:Number", ua.Variant(0, V.UInt32))
        texts = {
            name: ua.Variant(ua.LocalizedText(browse.partition(":")[2], "en"), V.LocalizedText)
            for name, (browse, _, _) in states.items()
        }
        ids = {name: ua.Variant(self._type(prefix, number), V.NodeId) for name, (_, number, _) in states.items()}
        numbers = {name: ua.Variant(number, V.UInt32) for name, (_, _, number) in states.items()}
        for node, table in ((identity, ids), (number, numbers), (current, texts)):
            self._bind(signal, node, by_table(table))

    def _counters(self, tool: ua.NodeId) -> None:
        counters = self._nodes.object(tool, "di:OperationCounters", self._type("mch", 1009), HAS_ADD_IN)
        self._nodes.also(self.blocks, counters, HAS_ADD_IN)
        self._shown(counters, "mt:PartsProducedInLifetime", "part_count", V.UInt64)
        duration = self._nodes.property(
            counters, "di:PowerOnDuration", ua.Variant(0.0, V.Double), standard(ObjectIds.Duration)
        )
        self._bind(POWER_ON, duration, as_type(V.Double))

    def _production(self) -> None:
        production = self._nodes.object(self.root, "mt:Production", self._type("mt", 21))
        self._active_program(production)
        plan = self._nodes.object(production, "mt:ProductionPlan", self._type("mt", 30))
        job = self._nodes.object(plan, "sim:Job", self._type("mt", 29), HAS_ORDERED)
        self._shown(job, "mt:Identifier", "lot", V.String, as_property=True)
        self._nodes.property(job, "ua:NumberInList", ua.Variant(0, V.UInt16))
        runs = self._shown(job, "mt:RunsPlanned", "lot_size", V.UInt32)
        self._nodes.property(runs, "mt:IsValid", ua.Variant(True, V.Boolean))
        self._shown(job, "sim:PartNumber", "part", V.String)

    def _active_program(self, production: ua.NodeId) -> None:
        program = self._nodes.object(production, "mt:ActiveProgram", self._type("mt", 32))
        self._shown(program, "mt:Name", "program", V.String, as_property=True)
        self._nodes.property(program, "ua:NumberInList", ua.Variant(0, V.UInt16))
        state = self._nodes.object(program, "mt:State", self._type("mt", 15))
        self._state_machine(state, "program_state", "mt", PROGRAM_STATES)

    def _control(self) -> None:
        """Channel and spindle of the CNC model in their lists; short roads without the lists lead there too."""
        control = self._nodes.object(self.root, "cnc:CncInterface", self._type("cnc", 1007))
        channels = self._nodes.object(control, "cnc:CncChannelList", self._type("cnc", 1010))
        channel = self._nodes.object(channels, "cnc:Channel1", self._type("cnc", 1002))
        self._nodes.also(control, channel, ORGANIZES)
        item = standard(ObjectIds.DataItemType)
        for name, signal, type_ in (
            ("cnc:ToolId", "active_tool", V.UInt32),
            ("cnc:FeedHold", "feed_hold", V.Boolean),
        ):
            self._bind(signal, self._nodes.variable(channel, name, first_value(type_), item), as_type(type_))
        spindles = self._nodes.object(control, "cnc:CncSpindleList", self._type("cnc", 1009))
        spindle = self._nodes.object(spindles, "cnc:Spindle1", self._type("cnc", 1005))
        self._nodes.also(control, spindle, ORGANIZES)
        self._analog(spindle, "cnc:ActSpeed", "spindle_speed", "C94", 16_000.0)
        self._analog(spindle, "cnc:ActLoad", "spindle_load", "P1", 150.0)

    def _own(self) -> None:
        """What the companion specifications have no node for."""
        for folder, shown in OWN.items():
            parent = self._nodes.object(self.root, folder)
            for name, signal, type_ in shown:
                self._shown(parent, name, signal, type_)

    def _energy(self) -> None:
        parent = self._nodes.object(self.root, "mch:Monitoring", self._type("mch", 1014))
        self._nodes.also(self.blocks, parent, ORGANIZES)
        for name in ("mch:Consumption", "en:Electricity", "en:Main"):
            parent = self._nodes.object(parent, name, FOLDER)
        self._analog(parent, "ecm:AcActivePowerTotal", "power", "WTT", 20_000.0, V.Float)
        self._analog(parent, "ecm:AcActiveEnergyTotalImportHp", "energy", "WHR", 1e12)
