"""OPC UA and nothing else: one Supervisor per server hands readings to a sink; ``inspect`` looks once."""

from swarfline.connect.exploring import explore
from swarfline.connect.inspection import LONGEST_REASON, Finding, Inspection, Shown, legible
from swarfline.connect.links import Sink
from swarfline.connect.look import inspect
from swarfline.connect.past import Before
from swarfline.connect.status import ServerStatus
from swarfline.connect.supervisor import Supervisor

__all__ = [
    "LONGEST_REASON", "Before", "Finding", "Inspection", "ServerStatus", "Shown", "Sink", "Supervisor", "explore",
    "inspect", "legible",
]  # fmt: skip
