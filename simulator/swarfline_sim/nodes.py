"""Adds nodes to a server's address space: objects, variables and properties below a parent."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from asyncua import ua
from asyncua.server.server import Server
from asyncua.ua.object_ids import ObjectIds

from swarfline_sim.namespaces import Namespaces, standard

OBJECT = standard(ObjectIds.BaseObjectType)
FOLDER = standard(ObjectIds.FolderType)
HAS_COMPONENT = standard(ObjectIds.HasComponent)
HAS_PROPERTY = standard(ObjectIds.HasProperty)
HAS_ORDERED = standard(ObjectIds.HasOrderedComponent)
HAS_ADD_IN = standard(17604)
ORGANIZES = standard(ObjectIds.Organizes)
HAS_SUBTYPE = standard(ObjectIds.HasSubtype)


class NodeBuilder:
    """Writes to one server; the server must not be running yet. First values carry the time ``stamp``."""

    def __init__(self, server: Server, namespaces: Namespaces, stamp: ua.DateTime) -> None:
        self._service = server.iserver.node_mgt_service
        self._aspace = server.iserver.aspace
        self._stamp = stamp
        self.namespaces = namespaces

    def _put(self, item: ua.AddNodesItem) -> ua.NodeId:
        (result,) = self._service.add_nodes([item])
        result.StatusCode.check()
        node: ua.NodeId = item.RequestedNewNodeId
        return node

    def _item(
        self, node_class: ua.NodeClass, node: ua.NodeId, name: str, parent: ua.NodeId, reference: ua.NodeId
    ) -> ua.AddNodesItem:
        item = ua.AddNodesItem()
        item.NodeClass = node_class
        item.RequestedNewNodeId = node
        item.BrowseName = self.namespaces.name(name)
        item.ParentNodeId = parent
        item.ReferenceTypeId = reference
        return item

    def object(
        self,
        parent: ua.NodeId,
        name: str,
        type_: ua.NodeId = OBJECT,
        reference: ua.NodeId = HAS_COMPONENT,
        node: ua.NodeId | None = None,
    ) -> ua.NodeId:
        """An object below ``parent``; its NodeId is the parent's path and its name unless given."""
        item = self._item(ua.NodeClass.Object, node or self._below(parent, name), name, parent, reference)
        item.TypeDefinition = type_
        item.NodeAttributes = ua.ObjectAttributes()
        item.NodeAttributes.DisplayName = ua.LocalizedText(name.partition(":")[2])
        return self._put(item)

    def variable(
        self,
        parent: ua.NodeId,
        name: str,
        value: ua.Variant,
        type_: ua.NodeId | None = None,
        data_type: ua.NodeId | None = None,
        reference: ua.NodeId = HAS_COMPONENT,
        node: ua.NodeId | None = None,
    ) -> ua.NodeId:
        """A readable variable with a first value of the type that it keeps."""
        item = self._item(ua.NodeClass.Variable, node or self._below(parent, name), name, parent, reference)
        item.TypeDefinition = type_ or standard(ObjectIds.BaseDataVariableType)
        attributes = ua.VariableAttributes()
        attributes.DisplayName = ua.LocalizedText(name.partition(":")[2])
        attributes.Value = value
        attributes.DataType = data_type or standard(value.VariantType.value)
        attributes.ValueRank = ua.ValueRank.OneDimension if value.is_array else ua.ValueRank.Scalar
        attributes.AccessLevel = attributes.UserAccessLevel = ua.AccessLevel.CurrentRead.mask
        item.NodeAttributes = attributes
        made = self._put(item)
        # the library stamps it with real time, which may lie far ahead of plant time
        first = ua.DataValue(value, ua.StatusCode(), self._stamp, self._stamp)
        self._aspace[made].attributes[ua.AttributeIds.Value].value = first
        return made

    def property(
        self, parent: ua.NodeId, name: str, value: ua.Variant, data_type: ua.NodeId | None = None
    ) -> ua.NodeId:
        """A property of a node."""
        type_ = standard(ObjectIds.PropertyType)
        return self.variable(parent, name, value, type_, data_type, HAS_PROPERTY)

    def structure_property(self, parent: ua.NodeId, name: str, value: Any, data_type: ua.NodeId) -> ua.NodeId:
        """A property that holds a structure, such as EUInformation."""
        return self.property(parent, name, ua.Variant(value, ua.VariantType.ExtensionObject), data_type)

    def also(self, parent: ua.NodeId, child: ua.NodeId, reference: ua.NodeId) -> None:
        """A second road to a node."""
        for source, target, forward in ((parent, child, True), (child, parent, False)):
            item = ua.AddReferencesItem()
            item.SourceNodeId, item.TargetNodeId = source, target
            item.ReferenceTypeId, item.IsForward = reference, forward
            item.TargetNodeClass = ua.NodeClass.Object
            (status,) = self._service.add_references([item])
            status.check()

    def subtype(self, node_class: ua.NodeClass, node: ua.NodeId, name: str, supertype: ua.NodeId) -> ua.NodeId:
        """A type node below its supertype."""
        item = self._item(node_class, node, name, supertype, HAS_SUBTYPE)
        attributes = {
            ua.NodeClass.ObjectType: ua.ObjectTypeAttributes,
            ua.NodeClass.VariableType: ua.VariableTypeAttributes,
            ua.NodeClass.DataType: ua.DataTypeAttributes,
        }[node_class]()
        attributes.DisplayName = ua.LocalizedText(name.partition(":")[2])
        if node_class is ua.NodeClass.VariableType:
            attributes.DataType = standard(ObjectIds.Number)
            attributes.ValueRank = ua.ValueRank.Scalar
        item.NodeAttributes = attributes
        return self._put(item)

    def enum_strings(self, enumeration: ua.NodeId, texts: Iterable[str]) -> None:
        """The names of an enumeration's values, counted from 0."""
        value = ua.Variant([ua.LocalizedText(text) for text in texts], ua.VariantType.LocalizedText)
        self.property(enumeration, "ua:EnumStrings", value)

    def states(self, prefix: str, machine_type: int, states: Iterable[tuple[str, int, int]]) -> None:
        """The states of a state machine type: (browse name, identifier, number); Initializing is the first."""
        parent = self.namespaces.number(prefix, machine_type)
        for name, identifier, number in states:
            begins = name.endswith(":Initializing")
            type_ = standard(ObjectIds.InitialStateType if begins else ObjectIds.StateType)
            state = self.object(parent, name, type_, node=self.namespaces.number(prefix, identifier))
            self.property(state, "ua:StateNumber", ua.Variant(number, ua.VariantType.UInt32))

    def _below(self, parent: ua.NodeId, name: str) -> ua.NodeId:
        head = parent.Identifier if isinstance(parent.Identifier, str) else parent.to_string()
        return self.namespaces.own(f"{head}/{name.replace(':', '.')}")
