"""Checks of what a plant file says about single nodes: signal names, units, value tables."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from swarfline.plant.model import NodeRef, Plant, ToolMapping
from swarfline.plant.wording import hint
from swarfline.signals import SIGNALS, TOOL_FIELDS, Kind, Signal
from swarfline.units import factor, inside_units

_NUMBERS = (Kind.NUMBER, Kind.COUNTER)


def node_errors(plant: Plant) -> Iterator[str]:
    """One line per signal, unit or code that cannot be understood, in the file's order."""
    for name, mapping in plant.mappings.items():
        yield from _each(f"[mappings.{name}.signals]", mapping.signals, "signal", SIGNALS)
        yield from _tools(f"[mappings.{name}.tools", mapping.tools)
    for machine in plant.machines:
        where = f"[[servers.machines]] {machine.id!r}"
        yield from _each(f"{where} signals", machine.signals, "signal", SIGNALS)
        if machine.tools is not None:
            yield from _tools(f"{where} [tools", machine.tools)


def _tools(where: str, tools: ToolMapping) -> Iterator[str]:
    for place, fields in tools.each.items():
        yield from _each(f"{where}.each.{place}]", fields, "tool field", TOOL_FIELDS)


def _each(where: str, nodes: Mapping[str, NodeRef], what: str, catalogue: Mapping[str, Signal]) -> Iterator[str]:
    for name, ref in nodes.items():
        signal = catalogue.get(name)
        if signal is None:
            yield f"{where}: unknown {what} {name!r}{hint(name, catalogue)}"
            continue
        problems = (*_unit(ref, signal), *_values(ref, signal), *_width(ref, signal))
        yield from (f"{where}: {what} {name!r}: {problem}" for problem in problems)


def _unit(ref: NodeRef, signal: Signal) -> Iterator[str]:
    if ref.unit is None:
        return
    if not signal.unit:
        yield f"key 'unit' = {ref.unit!r}: it has no unit"
        return
    problems = []
    for inside in inside_units(signal.unit):
        try:
            factor(ref.unit, inside)
            return
        except ValueError as problem:
            problems.append(str(problem))
    yield f"key 'unit' = {ref.unit!r}: {'; '.join(problems)}"


def _values(ref: NodeRef, signal: Signal) -> Iterator[str]:
    for code, value in (ref.values or {}).items():
        allowed = _allowed(value, signal)
        if allowed is not None:
            yield f"values: code {code!r} = {value!r} is not one of: {allowed}"
    if ref.values is not None and signal.kind in _NUMBERS:
        yield "key 'values': numbers have no value table; use 'scale' and 'offset'"


def _allowed(value: str | bool, signal: Signal) -> str | None:
    """What the value should have been, or None where it is right."""
    if signal.kind is Kind.ENUM and value not in signal.choices:
        return ", ".join(signal.choices)
    if signal.kind is Kind.BOOL and not isinstance(value, bool):
        return "true, false"
    return None


def _width(ref: NodeRef, signal: Signal) -> Iterator[str]:
    # the energy counter is a number with unit, but rolls over like the others
    if ref.width is not None and signal.kind is not Kind.COUNTER and signal.name != "energy":
        yield f"key 'width' = {ref.width}: only counters have a width"
