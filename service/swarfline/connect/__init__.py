"""OPC UA and nothing else: one Supervisor per server hands readings to a sink."""

from swarfline.connect.links import Sink
from swarfline.connect.status import ServerStatus
from swarfline.connect.supervisor import Supervisor

__all__ = ["ServerStatus", "Sink", "Supervisor"]
