"""A run in which nothing is disturbed: a quarter of an hour of the simulated works, seen from its beginning."""

from __future__ import annotations

import json
import subprocess
import sys
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

from .accounts import Told
from .api import Api, Row
from .processes import moment
from .truth import Truth
from .waiting import until
from .works import SEED, START_US, Works

MACHINES = ("N1", "N4", "S1", "S2")
SPEED = 30
LASTS_US = 920_000_000
LEADS_S = (5.0, 15.0, 40.0)
"""Real time in which the service has to be connected before simulated time begins: more where that failed."""

Series = list[tuple[int, float]]
"""(time, value)"""


@dataclass(frozen=True)
class Run:
    """What is left of the run when the simulator has ended."""

    truth: Truth
    told: dict[str, Told]
    tools: dict[str, list[Row]]
    oee: dict[str, Row]
    alerts: list[Row]
    crowded: frozenset[tuple[str, str]]
    """Subjects that had more than one standing alert at some time."""


def run_undisturbed(folder: Path) -> Run:
    """Start both, watch for a quarter of an hour of simulated time, end the simulator in order."""
    for number, lead_s in enumerate(LEADS_S):
        place = folder / str(number)
        place.mkdir()
        works = Works(place, MACHINES, SPEED)
        try:
            works.begin(lead_s)
            simulator, service = works.start_simulator(), works.start_service()
            service.connected()
            if works.plant_us == START_US:
                crowded = _watch(works, service.api)
                told = works.end_simulator(simulator, service)
                return _run(works, service.api, told, crowded)
        finally:
            works.clear_away()
    raise AssertionError(f"the service was not connected within {LEADS_S[-1]} s")


def _watch(works: Works, api: Api) -> frozenset[tuple[str, str]]:
    """Until the time is over; subjects with more than one standing alert."""
    crowded: set[tuple[str, str]] = set()

    def look() -> bool:
        standing = Counter((a["machine"], a["subject"]) for a in api.rows("/alerts", standing=True))
        crowded.update(subject for subject, n in standing.items() if n > 1)
        # before the machines have told anything the present is that of our own clock
        return works.plant_us > api.present_us() >= START_US + LASTS_US

    until("a quarter of an hour of the works", look, 180)
    return frozenset(crowded)


def _run(works: Works, api: Api, told: dict[str, Told], crowded: frozenset[tuple[str, str]]) -> Run:
    return Run(
        works.truth,
        told,
        {machine: api.rows(f"/machines/{machine}/tools") for machine in MACHINES},
        {row["key"]: row for row in api.rows("/oee", **{"from": moment(START_US)})},
        api.rows("/alerts", limit=1000),
        crowded,
    )


def used_lives(until_us: int) -> dict[tuple[str, str], Series]:
    """The life used by (machine, pot) as the simulator's stream tells it for the very same run, counting up."""
    command = [sys.executable, "-m", "swarfline_sim", "history", "--profile", "brisk", "--seed", str(SEED)]
    command += ["--start", moment(START_US), "--until", moment(until_us), "--machines", ",".join(MACHINES)]
    done = subprocess.run(command, capture_output=True, check=True)
    lines = [json.loads(line) for line in done.stdout.splitlines()]
    assert lines[-1]["end"] is True
    limits: dict[tuple[str, str], float] = {}
    found: dict[tuple[str, str], Series] = {}
    for line in lines[1:-1]:
        for signal, us, value in line["readings"]:
            pot, _, field = signal.removeprefix("tools[").partition("].")
            key = (line["machine"], pot)
            if field == "limit":
                limits[key] = value
            elif field in ("used", "remaining"):
                found.setdefault(key, []).append((us, value if field == "used" else limits[key] - value))
    return found
