"""A brisk works for tests: some machines of the demo plant, always planned, in the time of the simulator."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path

import swarfline.demo

ENDPOINT = 'endpoint = "opc.tcp://127.0.0.1:4840/swarfline-sim"'
MACHINE = "[[servers.machines]]"
ALWAYS = """\
[[shifts]]
name = "always"
start = "00:00"
end = "00:00"
days = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"]

"""
# far shorter than the shortest life, so that a new tool is not near its limit from the start
# tools live for minutes here: what comes back so soon is the next one, not the same story again
ALERTS = "[alerts]\nagain_within_min = 0\n\n[alerts.tool_near_limit]\nlead_min = 2\n\n"


def write_plant_file(path: Path, machines: Sequence[str], port: int) -> None:
    """The demo's plant file with its mapping, for these machines of a simulator at ``port``."""
    text = swarfline.demo.PLANT.read_text("utf-8")
    head, *tables = text.split(MACHINE)
    kept = [table for table in tables if re.search(r'id = "(\w+)"', table)[1] in machines]
    before, _, rest = MACHINE.join([head, *kept]).partition("[[shifts]]")
    text = before + ALWAYS + ALERTS + rest[rest.index("[[parts]]") :]
    at = ENDPOINT.replace("4840", str(port)) + '\nclock = "server"'
    path.write_text(text.replace(ENDPOINT, at).replace("port = 8750", "port = 0"), "utf-8")
