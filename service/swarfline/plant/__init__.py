"""The plant file: typed, validated, frozen."""

from swarfline.plant.load import PlantError, load
from swarfline.plant.model import (
    Cell,
    Listen,
    Machine,
    Mapping,
    NodeRef,
    Part,
    Plant,
    ReportTable,
    Server,
    StopReasonTable,
    ToolMapping,
)

__all__ = [
    "Cell", "Listen", "Machine", "Mapping", "NodeRef", "Part", "Plant", "PlantError", "ReportTable",
    "Server",    "StopReasonTable", "ToolMapping", "load",
]  # fmt: skip
