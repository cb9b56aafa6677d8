"""The mapped signals as they arrive, beside what they are interpreted as. Nothing is stored."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from swarfline import clock
from swarfline.collect.settings import machine_settings
from swarfline.connect import LONGEST_REASON, ServerStatus, Supervisor, legible
from swarfline.facts import Count, Cycle
from swarfline.interpret.fold import Fold
from swarfline.plant import Plant
from swarfline.signals import CLOCK_OFFSET, LINK, Quality, Reading, find_signal
from swarfline.units import lasting

LOOK_S = 0.25
_STATE = ("state", "executing")
_SPEAKS = {
    "off": _STATE, "out_of_service": _STATE, "producing": _STATE, "waiting": (*_STATE, "alarm"),
    "setup": ("mode",), "held": ("feed_hold", "program_state", "feed_override"),
    "fault": ("alarm", "alarm_code", "alarm_text"),
}  # fmt: skip
"""The signals that make a condition, by condition."""
_HOLDS = {"feed_hold": True, "program_state": "interrupted", "feed_override": 0}


def because(condition: str, linked: bool, values: Mapping[str, object]) -> str:
    """The signals that a condition comes from, as text."""
    if not linked:
        return "no link"
    said = [(name, values.get(name)) for name in _SPEAKS.get(condition, _STATE)]
    if condition == "held":
        said = [(name, value) for name, value in said if _HOLDS[name] == value]
    told = ", ".join(f"{name} {legible(value)}" for name, value in said if value not in (None, ""))
    return told or "no state is told"


def shown(signal: str, value: object, quality: int) -> str:
    """A reading's value with its unit, safe for a terminal."""
    if value is None or quality == Quality.BAD:
        return "unknown"
    entry = find_signal(signal)
    unit = entry.unit if entry is not None and entry.unit not in ("1", "basis") else ""
    text = f"{value:.6g}" if value.__class__ is float else legible(value) or "empty"
    return f"{text} {unit}{' (uncertain)' if quality == Quality.UNCERTAIN else ''}".strip()


class Spectacle:
    """What has been seen so far of some machines. ``say`` takes a line for each change."""

    def __init__(self, plant: Plant, machines: Sequence[str], say: Callable[[str], None]) -> None:
        self._fold = Fold([s for s in machine_settings(plant) if s.machine in machines])
        self._zone = ZoneInfo(plant.plant.time_zone)
        self._say = say
        self._machines = tuple(machines)
        self._values: dict[str, dict[str, tuple[str, int]]] = {machine: {} for machine in machines}
        self._parts: dict[str, dict[str, int]] = {machine: {} for machine in machines}
        self._picture: dict[str, str] = {}
        self._status: dict[str, str] = {}

    def take(self, batch: Sequence[Reading]) -> None:
        """Say what changed in the readings, then how they are understood."""
        for machine, signal, source_us, _, value, quality in batch:
            if signal in (LINK, CLOCK_OFFSET) or machine not in self._values:
                continue
            text = shown(signal, value, quality)
            if self._values[machine].get(signal, ("", 0))[0] != text:
                self._values[machine][signal] = (text, source_us)
                self._tell(source_us, machine, f"{signal} {text}")
        fed = self._fold.feed(batch)
        for fact in fed.facts:
            if isinstance(fact, Count):
                parts = self._parts[fact.machine]
                parts[fact.count_kind] = parts.get(fact.count_kind, 0) + fact.quantity
        for machine in sorted(fed.touched):
            picture = self.picture(machine)
            if self._picture.get(machine) != picture:
                self._picture[machine] = picture
                self._tell(self._fold.newest_us(machine) or clock.now_us(), machine, f"=> {picture}")

    def connection(self, status: ServerStatus) -> None:
        """Say how a connection stands, when that changed."""
        text = connection_text(status)
        if self._status.get(status.server) != text:
            self._status[status.server] = text
            self._tell(clock.now_us(), f"server {status.server}", text)

    def picture(self, machine: str) -> str:
        """Condition with its reason, running cycle, step, tool in the spindle, parts since the beginning."""
        now: dict[str, Any] = self._fold.snapshot(machine)
        parts = [f"{now['condition']} ({because(now['condition'], now['linked'], now['values'])})"]
        cycle = now["cycle"]
        if cycle is not None:
            program = f" {legible(cycle['program'])}" if cycle["program"] else ""
            parts.append(f"cycle{program} since {self._clock(cycle['start_us'])}")
        pieces = [p for f in self._fold.open_facts([machine]) if isinstance(f, Cycle) for p in f.strip]
        if cycle is not None and pieces:
            parts.append(f"step {pieces[-1].step}")
        if "active_tool" in now["values"]:
            parts.append(f"tool {shown('active_tool', now['values']['active_tool'], Quality.GOOD)}")
        counted = self._parts[machine]
        parts += [f"{kind} parts +{quantity}" for kind, quantity in sorted(counted.items())]
        return ", ".join(parts)

    def table(self, now_us: int, lines: int, columns: int) -> list[str]:
        """Everything at once, for a terminal of this size; what does not fit is counted."""
        rows = [f"server {server}: {text}" for server, text in self._status.items()]
        for machine in self._machines:
            rows += ["", f"{machine} => {self.picture(machine)}"]
            for signal, (text, source_us) in self._values[machine].items():
                since = lasting(max(0, now_us - source_us) // 1_000_000)
                rows.append(f"  {signal:24} {text:32} since {self._clock(source_us)} ({since})")
        if len(rows) > lines:
            rows = [*rows[: lines - 1], f"... {len(rows) - lines + 1} more lines; --machine shows one machine"]
        return [row[:columns] for row in rows]

    def _tell(self, at_us: int, who: str, what: str) -> None:
        self._say(f"{self._clock(at_us)} {who} {what}")

    def _clock(self, us: int) -> str:
        at = datetime.fromtimestamp(us // 1_000_000, self._zone)
        return f"{at:%H:%M:%S}.{us // 1000 % 1000:03}"


def connection_text(status: ServerStatus) -> str:
    """State, last error and refused nodes of a connection."""
    text = str(status.state)
    if status.state != "connected":
        return f"{text}: {legible(status.last_error, LONGEST_REASON)}" if status.last_error else text
    refused = "".join(f"; {name} refused: {legible(why)}" for name, why in status.refused.items())
    unmapped = "".join(f"; {name} shows {legible(code)!r}, unmapped" for name, code in status.unmapped.items())
    return f"{text}{refused}{unmapped}"


async def watch(
    plant: Plant,
    machines: Sequence[str],
    stop: asyncio.Event,
    say: Callable[[str], None],
    draw: Callable[[Spectacle], None] | None = None,
) -> None:
    """Watch some machines, none named: all, until ``stop`` is set.

    ``say`` takes a line for each change; ``draw`` is called a few times a second. A server's faults never raise.
    """
    chosen = [m.id for m in plant.machines if not machines or m.id in machines]
    spectacle = Spectacle(plant, chosen, say)
    arrived: list[Reading] = []

    def sink(batch: list[Reading]) -> bool:
        # only kept here: what fails in showing must not be taken for a fault of the server
        arrived.extend(batch)
        return True

    supervisors = []
    for server in plant.servers:
        some = tuple(m for m in server.machines if m.id in chosen)
        if some:
            part = server.model_copy(update={"machines": some})
            supervisors.append(Supervisor(part, plant, sink))
    tasks = [asyncio.create_task(supervisor.run()) for supervisor in supervisors]
    try:
        while not stop.is_set():
            for task in tasks:
                if task.done():
                    # a supervisor never ends by itself: this raises the defect that ended it
                    task.result()
            for supervisor in supervisors:
                spectacle.connection(supervisor.status)
            spectacle.take(arrived)
            arrived.clear()
            if draw is not None:
                draw(spectacle)
            await _pause(stop)
    finally:
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)


async def _pause(stop: asyncio.Event) -> None:
    await asyncio.wait([waiting := asyncio.create_task(stop.wait())], timeout=LOOK_S)
    waiting.cancel()
