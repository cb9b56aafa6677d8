"""Checks across tables of a plant file: ids, references, zone, shifts, signals, addresses."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError, available_timezones

from swarfline.plant.addresses import KNOWN_NAMESPACES, address_errors, namespaces
from swarfline.plant.alert_checks import alert_errors
from swarfline.plant.channel_checks import channel_errors
from swarfline.plant.listening import is_loopback, listen_errors
from swarfline.plant.model import Machine, Plant
from swarfline.plant.motion import motion_errors
from swarfline.plant.nodes import node_errors
from swarfline.plant.reasons import reason_errors
from swarfline.plant.reports import report_errors
from swarfline.plant.security import security_errors
from swarfline.plant.sharing import sharing_errors
from swarfline.plant.shifts import breaks_outside, overlaps
from swarfline.plant.wording import nearest, unknown

__all__ = ["KNOWN_NAMESPACES", "cross_checks", "is_loopback", "namespaces"]

STATE_SIGNALS = ("state", "executing")
PROGRESS_SIGNALS = ("part_count", "cycle_count", "program_state")


def cross_checks(plant: Plant) -> list[str]:
    """One line per error, by table."""
    checks = (
        _zone, listen_errors, _money, _shifts, _stops, reason_errors, _parts, _references, node_errors,
        address_errors, sharing_errors, _machines, motion_errors, security_errors, report_errors, alert_errors,
        channel_errors,
    )  # fmt: skip
    return [line for find in checks for line in find(plant)]


def _zone(plant: Plant) -> Iterator[str]:
    name = plant.plant.time_zone
    try:
        ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        near = nearest(name, available_timezones())
        hint = f"; did you mean {near!r}?" if near else ""
        yield f"[plant]: key 'time_zone' = {name!r}: unknown IANA time zone{hint}"


def _money(plant: Plant) -> Iterator[str]:
    rates = [("[figures]", "hourly_rate", plant.figures.hourly_rate)]
    rates.append(("[energy]", "price_per_kwh", plant.energy.price_per_kwh))
    rates += [(_where(m), "hourly_rate", m.hourly_rate) for m in plant.machines]
    for where, key, rate in rates:
        if rate is not None and plant.figures.currency is None:
            yield f"{where}: key {key!r} = {rate}: is an amount of money; name its 'currency' in [figures]"


def _twice(values: Iterable[str]) -> list[str]:
    return [value for value, count in Counter(values).items() if count > 1]


def _shifts(plant: Plant) -> Iterator[str]:
    known = [m.id for m in plant.machines]
    for shift in plant.shifts:
        for machine in shift.machines:
            if machine not in known:
                yield f"[[shifts]] {shift.name!r}: key 'machines': {unknown('machine', machine, known)}"
        for pause in breaks_outside(shift):
            span = f"{shift.start:%H:%M}–{shift.end:%H:%M}"
            yield (
                f"[[shifts]] {shift.name!r}: key 'breaks': {pause.start:%H:%M}–{pause.end:%H:%M} does not lie "
                f"inside the shift ({span})"
            )
    for first, second, machine in overlaps(plant.shifts, tuple(known)):
        yield (
            f"[[shifts]] {second!r}: key 'start': overlaps shift {first!r} on machine {machine}; a machine can "
            "be in one shift at a time"
        )


def _stops(plant: Plant) -> Iterator[str]:
    known = [m.id for m in plant.machines]
    for number, stop in enumerate(plant.planned_stops, 1):
        where = f"[[planned_stops]] no. {number}"
        if (stop.start.tzinfo is None) != (stop.end.tzinfo is None):
            yield f"{where}: keys 'start' and 'end': give both an offset or neither"
        elif stop.end <= stop.start:
            yield f"{where}: key 'end' = {stop.end.isoformat()}: must be after 'start' {stop.start.isoformat()}"
        for machine in stop.machines:
            if machine not in known:
                yield f"{where}: key 'machines': {unknown('machine', machine, known)}"


def _parts(plant: Plant) -> Iterator[str]:
    for part in _twice(p.id for p in plant.parts):
        yield f"[[parts]] {part!r}: key 'id': used by two parts"
    for program in _twice(program for p in plant.parts for program in p.programs):
        yield f"[[parts]]: key 'programs': program {program!r} is claimed twice"


def _references(plant: Plant) -> Iterator[str]:
    for label, ids in (
        ("[[cells]]", [c.id for c in plant.cells]),
        ("[[servers]]", [s.id for s in plant.servers]),
    ):
        for twice in _twice(ids):
            yield f"{label} {twice!r}: key 'id': used twice"
    for twice in _twice(m.id for m in plant.machines):
        yield f"[[servers.machines]] {twice!r}: key 'id': used by two machines; every machine needs its own"
    cells, mappings = [c.id for c in plant.cells], list(plant.mappings)
    parts = [p.id for p in plant.parts]
    for machine in plant.machines:
        for key, value, known in (
            ("cell", machine.cell, cells),
            ("mapping", machine.mapping, mappings),
            ("part", machine.part, parts),
        ):
            if value is not None and value not in known:
                yield f"{_where(machine)}: key {key!r}: {unknown(key, value, known)}"


def _where(machine: Machine) -> str:
    return f"[[servers.machines]] {machine.id!r}"


def _machines(plant: Plant) -> Iterator[str]:
    for machine in plant.machines:
        if machine.mapping is not None and machine.mapping not in plant.mappings:
            continue
        nodes = plant.nodes_of(machine)
        if not any(s in nodes for s in STATE_SIGNALS):
            yield f"{_where(machine)}: no signal 'state' or 'executing' is mapped; one of them is required"
        if not any(s in nodes for s in PROGRESS_SIGNALS):
            allowed = ", ".join(repr(s) for s in PROGRESS_SIGNALS)
            yield f"{_where(machine)}: none of {allowed} is mapped; one of them is required"
        if machine.cycle_bounds is not None and machine.cycle_bounds not in (*nodes, "executing"):
            yield f"{_where(machine)}: key 'cycle_bounds' = {machine.cycle_bounds!r}: that signal is not mapped"
