"""The type nodes that the server shows, with the NodeIds of the published models.

Only what the instances use is built: the types with their supertypes, the states and the enumerations.
"""

from __future__ import annotations

from asyncua import ua
from asyncua.ua.object_ids import ObjectIds

from swarfline_sim.namespaces import standard
from swarfline_sim.nodes import NodeBuilder

OBJECT_TYPES: tuple[tuple[str, int, str], ...] = (
    ("di:FunctionalGroupType", 1005, "ua:61"),
    ("mch:MachineryItemIdentificationType", 1004, "di:1005"),
    ("mch:MachineIdentificationType", 1012, "mch:1004"),
    ("mch:MachineryItemState_StateMachineType", 1002, "ua:2771"),
    ("mch:MachineryOperationCounterType", 1009, "di:1005"),
    ("mch:MonitoringType", 1014, "ua:61"),
    ("mt:MachineToolIdentificationType", 11, "mch:1012"),
    ("mt:MachineToolType", 13, "ua:58"),
    ("mt:MonitoringType", 14, "ua:58"),
    ("mt:MachineOperationMonitoringType", 26, "ua:58"),
    ("mt:ProductionType", 21, "ua:58"),
    ("mt:ProductionProgramType", 59, "ua:58"),
    ("mt:ProductionActiveProgramType", 32, "mt:59"),
    ("mt:ProductionJobListType", 30, "ua:23518"),
    ("mt:ProductionJobType", 29, "ua:58"),
    ("mt:ProductionStateMachineType", 24, "ua:2771"),
    ("mt:ProductionProgramStateMachineType", 15, "mt:24"),
    ("mt:EquipmentType", 12, "ua:58"),
    ("mt:ToolListType", 44, "ua:58"),
    ("mt:BaseToolType", 49, "ua:58"),
    ("mt:ToolType", 50, "mt:49"),
    ("mt:NotificationType", 7, "ua:58"),
    ("cnc:CncInterfaceType", 1007, "ua:58"),
    ("cnc:CncChannelListType", 1010, "ua:58"),
    ("cnc:CncSpindleListType", 1009, "ua:58"),
    ("cnc:CncComponentType", 1001, "ua:58"),
    ("cnc:CncDriveType", 1003, "cnc:1001"),
    ("cnc:CncChannelType", 1002, "cnc:1001"),
    ("cnc:CncSpindleType", 1005, "cnc:1003"),
)
"""(browse name, identifier in its namespace, supertype as prefix:identifier), as in the models."""

TOOL_LIFE_TYPE = ("mt:ToolLifeType", 61)

ENUMERATIONS: tuple[tuple[str, int, tuple[str, ...]], ...] = (
    (
        "mt:MachineOperationMode",
        65,
        ("Manual", "Automatic", "Setup", "AutoWithManualIntervention", "Service", "Other"),
    ),
    (
        "mt:ToolLocked",
        66,
        ("CapabilityUnavailable", "ByOperator", "ToolBreak", "ToolLife", "MeasurementError", "Other"),
    ),
    (
        "mt:ToolLifeIndication",
        68,
        (
            "Time",
            "NumberOfParts",
            "NumberOfUsages",
            "Feed_Distance",
            "Cutting_Distance",
            "Length",
            "Diameter",
            "Other",
        ),
    ),
    ("mt:ToolManagement", 69, ("NumberBased", "GroupBased", "Other")),
)

ITEM_STATES = {
    "not_available": ("mch:NotAvailable", 5005, 0),
    "out_of_service": ("mch:OutOfService", 5004, 1),
    "not_executing": ("mch:NotExecuting", 5007, 2),
    "executing": ("mch:Executing", 5006, 3),
}
"""Our state: (browse name, identifier in mch, state number)."""

PROGRAM_STATES = {
    "ready": ("mt:Initializing", 5039, 0),
    "running": ("mt:Running", 5041, 1),
    "ended": ("mt:Ended", 5038, 2),
    "interrupted": ("mt:Interrupted", 5040, 3),
    "aborted": ("mt:Aborted", 5037, 4),
}
"""Our program state: (browse name, identifier in mt, state number)."""

OPERATION_MODES = {"manual": 0, "automatic": 1, "setup": 2, "mdi": 3, "service": 4, "other": 5}
"""Our mode in the enumeration MachineOperationMode, which knows no MDI: that is automatic with intervention."""


def build_types(nodes: NodeBuilder) -> None:
    """Add the type nodes, in the order of their supertypes."""
    names = nodes.namespaces
    for name, identifier, supertype in OBJECT_TYPES:
        prefix = name.partition(":")[0]
        nodes.subtype(
            ua.NodeClass.ObjectType, names.number(prefix, identifier), name, _supertype(nodes, supertype)
        )
    name, identifier = TOOL_LIFE_TYPE
    base = standard(ObjectIds.BaseDataVariableType)
    nodes.subtype(ua.NodeClass.VariableType, names.number("mt", identifier), name, base)
    for name, identifier, texts in ENUMERATIONS:
        enumeration = names.number("mt", identifier)
        nodes.subtype(ua.NodeClass.DataType, enumeration, name, standard(ObjectIds.Enumeration))
        nodes.enum_strings(enumeration, texts)
    nodes.states("mch", 1002, ITEM_STATES.values())
    nodes.states("mt", 15, PROGRAM_STATES.values())


def _supertype(nodes: NodeBuilder, text: str) -> ua.NodeId:
    prefix, _, identifier = text.partition(":")
    return nodes.namespaces.number(prefix, int(identifier))
