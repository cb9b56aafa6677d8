"""Check that no two signals are read from one node by mistake: within a machine, and of two machines."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from swarfline.plant.model import Machine, NodeRef, Plant, Server

OF_THE_ORDER = ("part", "lot", "lot_size")
"""Signals that several machines may read from one node: a cell's control knows one order for all of them."""

SHOWN = 3
"""How many of the keys of a whole mapping are named."""


class _Use(NamedTuple):
    """A machine's signal, and where the file gives its node; ``own``: in the machine itself."""

    machine: str
    key: str
    ref: NodeRef
    own: bool
    where: str


_Source = tuple[str, str, int | None]
"""(endpoint, address from Objects or NodeId, array index)"""


def sharing_errors(plant: Plant) -> Iterator[str]:
    """One line per key whose node another key has already, by node."""
    within: dict[str, None] = {}
    between = []
    for uses in _sources(plant).values():
        for number, second in enumerate(uses):
            # two value tables, or one and none, tell different things of one word
            same = [first for first in uses[:number] if first.ref.values == second.ref.values]
            beside = next((first for first in same if first.machine == second.machine), None)
            other = next(
                (first for first in same if first.machine != second.machine and first.key == second.key), None
            )
            if beside is not None:
                # machines with one mapping bring its mistake once
                within[_within(*sorted((beside, second), key=lambda use: use.own))] = None
            if other is not None and second.key not in OF_THE_ORDER:
                between.append((other, second))
    yield from within
    yield from _between(between)


def _sources(plant: Plant) -> dict[_Source, list[_Use]]:
    found: dict[_Source, list[_Use]] = {}
    seen = set()
    for server in plant.servers:
        for machine in server.machines:
            # a machine given twice is told elsewhere
            if machine.id not in seen and (machine.mapping is None or machine.mapping in plant.mappings):
                for use in _uses(plant, machine):
                    found.setdefault(_source(server, machine, use.ref), []).append(use)
            seen.add(machine.id)
    return found


def _uses(plant: Plant, machine: Machine) -> Iterator[_Use]:
    for key, ref in plant.nodes_of(machine).items():
        own = key in machine.signals
        where = f"[[servers.machines]] {machine.id!r} signals" if own else f"[mappings.{machine.mapping}.signals]"
        yield _Use(machine.id, key, ref, own, where)


def _source(server: Server, machine: Machine, ref: NodeRef) -> _Source:
    below_root = machine.root and not ref.node.startswith("nsu=")
    return server.endpoint, f"{machine.root}/{ref.node}" if below_root else ref.node, ref.index


def _within(first: _Use, second: _Use) -> str:
    elsewhere = "" if first.where == second.where else f" in {first.where}"
    return (
        f"{second.where}: key {second.key!r} = {second.ref.node!r}: the same node as key {first.key!r}{elsewhere}"
        "; give each its own node, index or value table"
    )


def _between(pairs: list[tuple[_Use, _Use]]) -> Iterator[str]:
    through_mapping: dict[tuple[str, str], list[str]] = {}
    for first, second in pairs:
        if second.own:
            yield (
                f"{second.where}: key {second.key!r} = {second.ref.node!r}: the same node as key {first.key!r} of "
                f"machine {first.machine!r}; every machine needs its own"
            )
        else:
            through_mapping.setdefault((first.machine, second.machine), []).append(second.key)
    for (first_machine, second_machine), keys in through_mapping.items():
        yield (
            f"[[servers.machines]] {second_machine!r}: keys 'root' and 'mapping' lead to the same nodes as those "
            f"of machine {first_machine!r} for {_listed(keys)}; every machine needs its own"
        )


def _listed(keys: list[str]) -> str:
    shown = ", ".join(repr(key) for key in keys[:SHOWN])
    return shown if len(keys) <= SHOWN else f"{shown} and {len(keys) - SHOWN} more"
