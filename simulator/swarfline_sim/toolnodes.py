"""The tools of a machine in the address space: one mt:ToolType object per pot."""

from __future__ import annotations

from collections.abc import Iterable

from asyncua import ua
from asyncua.ua.object_ids import ObjectIds

from swarfline_sim.bindings import Bindings, Convert, Target, as_type
from swarfline_sim.eu import unit
from swarfline_sim.events import Value
from swarfline_sim.namespaces import standard
from swarfline_sim.nodes import NodeBuilder
from swarfline_sim.wear import COUNT, TIME, ToolSpec, tool_signal

V = ua.VariantType

LIFE = {"time": (0, "HUR"), "count": (2, "C62"), "distance": (4, "MTR")}
"""Life basis: (ToolLifeIndication Time, NumberOfUsages or Cutting_Distance; code of the unit)."""

NOT_LOCKED, TOOL_BREAK, TOOL_LIFE = 0, 2, 3
"""Values of ReasonForLocking: no reason to tell, broken, life used up."""

SECONDS_PER_HOUR = 3600.0


class ToolNodes:
    """Builds the nodes of one tool; ``bindings`` tells what to write where."""

    def __init__(self, nodes: NodeBuilder, tools: ua.NodeId, spec: ToolSpec) -> None:
        self._nodes = nodes
        self._spec = spec
        self._over = False
        self.bindings: Bindings = {}
        mt = nodes.namespaces.number
        self.node = nodes.object(tools, f"sim:Pot{spec.pot}", mt("mt", 50))
        number = nodes.variable(self.node, "mt:ControlIdentifier1", ua.Variant(0, V.UInt32))
        self._bind("number", number, as_type(V.UInt32))
        nodes.variable(
            self.node, "mt:ControlIdentifierInterpretation", ua.Variant(0, V.Int32), data_type=mt("mt", 69)
        )
        self._bind("name", nodes.property(self.node, "mt:Name", ua.Variant("", V.String)), as_type(V.String))
        self._place()
        self._life(mt("mt", 61), mt("mt", 68))
        self._lock(mt("mt", 66))

    def _bind(self, field: str, node: ua.NodeId, convert: Convert) -> None:
        self.bindings.setdefault(tool_signal(self._spec.pot, field), []).append(Target(node, convert))

    def _place(self) -> None:
        location = self._nodes.object(self.node, "mt:Location")
        self._nodes.property(location, "mt:Name", ua.Variant("Magazine", V.String))
        place = self._nodes.property(location, "mt:PlaceNumber", ua.Variant(0, V.UInt16))
        self._bind("pot", place, as_type(V.UInt16))

    def _life(self, life_type: ua.NodeId, indication_type: ua.NodeId) -> None:
        spec, nodes = self._spec, self._nodes
        indication, code = LIFE[spec.basis]
        type_ = V.Int32 if spec.basis == COUNT else V.Double
        convert = as_type(type_, SECONDS_PER_HOUR if spec.basis == TIME else 1.0)
        parent = nodes.object(self.node, "mt:ToolLife")
        life = nodes.variable(parent, "sim:Life", ua.Variant(0, type_), life_type)
        nodes.property(life, "mt:Indication", ua.Variant(indication, V.Int32), indication_type)
        nodes.property(life, "mt:IsCountingUp", ua.Variant(spec.counts_up, V.Boolean))
        nodes.structure_property(life, "mt:EngineeringUnits", unit(code), standard(ObjectIds.EUInformation))
        names = ("mt:StartValue", "mt:WarningValue", "mt:LimitValue")
        start, warning, limit = (nodes.property(life, name, ua.Variant(0, type_)) for name in names)
        self._bind("limit", limit if spec.counts_up else start, convert)
        self._bind("warning_level" if spec.counts_up else "warning_remaining", warning, convert)
        self._bind("used" if spec.counts_up else "remaining", life, self._watched(convert))

    def _watched(self, convert: Convert) -> Convert:
        """Keeps in mind whether the life is over, for the reason of a lock that follows."""

        def watch(value: Value) -> ua.Variant:
            number = float(value)
            self._over = number >= self._spec.limit if self._spec.counts_up else number <= 0
            return convert(value)

        return watch

    def _lock(self, reason_type: ua.NodeId) -> None:
        locked = self._nodes.variable(self.node, "mt:Locked", ua.Variant(False, V.Boolean))
        reason = self._nodes.property(locked, "mt:ReasonForLocking", ua.Variant(0, V.Int32), reason_type)
        self._bind("locked", reason, self._reason)
        self._bind("locked", locked, as_type(V.Boolean))

    def _reason(self, value: Value) -> ua.Variant:
        reason = NOT_LOCKED
        if value:
            reason = TOOL_LIFE if self._over else TOOL_BREAK
        return ua.Variant(reason, V.Int32)


def add_tools(nodes: NodeBuilder, equipment: ua.NodeId, magazine: Iterable[ToolSpec]) -> Bindings:
    """The tool list below ``equipment``, one object per pot."""
    tools = nodes.object(equipment, "mt:Tools", nodes.namespaces.number("mt", 44))
    bindings: Bindings = {}
    for spec in magazine:
        bindings |= ToolNodes(nodes, tools, spec).bindings
    return bindings
