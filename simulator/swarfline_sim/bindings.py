"""Which variables show which signal, and how a signal's value becomes a Variant."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from asyncua import ua

from swarfline_sim.events import Value

Convert = Callable[[Value], ua.Variant]


class Target(NamedTuple):
    """A variable that shows a signal."""

    node: ua.NodeId
    convert: Convert


Bindings = dict[str, list[Target]]
"""Signal to the variables that show it, in the order in which they are to be written."""

_FLOATING = (ua.VariantType.Double, ua.VariantType.Float)


def as_type(type_: ua.VariantType, factor: float = 1.0) -> Convert:
    """Values as Variants of one type, floating ones divided by ``factor``."""
    if type_ in _FLOATING:
        return lambda value: ua.Variant(float(value) / factor, type_)
    return lambda value: ua.Variant(value, type_)


def by_table(table: dict[str, ua.Variant]) -> Convert:
    """Values of a closed set by a table of Variants."""
    return lambda value: table[str(value)]


def first_value(type_: ua.VariantType) -> ua.Variant:
    """An empty value of a type, until the first real one is written."""
    empty: Value = 0
    if type_ is ua.VariantType.String:
        empty = ""
    elif type_ is ua.VariantType.Boolean:
        empty = False
    return ua.Variant(empty, type_)
