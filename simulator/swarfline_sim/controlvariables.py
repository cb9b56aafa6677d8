"""The variables of a control of no specification: plain names, codes, 16-bit counters, arrays of tools."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

from asyncua import ua

from swarfline_sim.bindings import Bindings, Convert, Target, as_type, by_table, first_value
from swarfline_sim.controlnames import (
    DECOYS,
    LIFE_KINDS,
    MODE_CODES,
    NAMES,
    PROGRAM_CODES,
    STATUS_WORDS,
    name_of,
)
from swarfline_sim.events import Value
from swarfline_sim.nodes import ORGANIZES, NodeBuilder
from swarfline_sim.wear import ToolSpec, tool_signal

V = ua.VariantType
PER_K = 1000.0
COUNTER_BITS = 16

_CODES = {"state": STATUS_WORDS, "mode": MODE_CODES, "program_state": PROGRAM_CODES}
_PLAIN = {
    "program": V.String, "part": V.String, "lot": V.String, "lot_size": V.UInt16, "active_tool": V.UInt16,
    "tool_changing": V.Boolean, "feed_hold": V.Boolean, "spindle_speed": V.Double, "spindle_load": V.Float,
    "feed_override": V.Int16, "alarm": V.Boolean, "alarm_code": V.String, "alarm_text": V.String,
}  # fmt: skip
_KILO = {"power": V.Float, "energy": V.Double}
_COUNTERS = ("part_count", "scrap_count")
SIGNALS = (*_CODES, *_PLAIN, *_KILO, *_COUNTERS)
_TOOL_FIELDS = {
    "number": V.UInt16, "life_basis": V.Int16, "used": V.Double, "limit": V.Double, "locked": V.Boolean,
}  # fmt: skip


class ControlVariables:
    """Adds the variables of one machine to ``parent``; ``bindings`` tells what to write where.

    The NodeId of a variable is ``prefix`` and its name, which is also its browse name.
    """

    def __init__(self, nodes: NodeBuilder, parent: ua.NodeId, prefix: str, language: str) -> None:
        self._nodes = nodes
        self._parent = parent
        self._prefix = prefix
        self._language = language
        self.bindings: Bindings = {}

    def _variable(self, names: tuple[str, str, str, str], value: ua.Variant) -> ua.NodeId:
        name = self._prefix + name_of(names, self._language)
        node = self._nodes.namespaces.own(name)
        return self._nodes.variable(self._parent, f"sim:{name}", value, reference=ORGANIZES, node=node)

    def _show(self, signal: str, type_: ua.VariantType, convert: Convert) -> None:
        node = self._variable(NAMES[signal], first_value(type_))
        self.bindings.setdefault(signal, []).append(Target(node, convert))

    def signals(self, wanted: Iterable[str] = SIGNALS) -> None:
        """Variables for these signals of the machine."""
        for signal in wanted:
            if signal in _CODES:
                codes = {word: ua.Variant(code, V.UInt16) for word, code in _CODES[signal].items()}
                self._show(signal, V.UInt16, by_table(codes))
            elif signal in _COUNTERS:
                self._show(signal, V.UInt16, _wrapped)
            elif signal in _KILO:
                self._show(signal, _KILO[signal], as_type(_KILO[signal], PER_K))
            else:
                self._show(signal, _PLAIN[signal], _as_whole(_PLAIN[signal]))

    def decoys(self) -> None:
        """Variables that show no signal."""
        for names, value in DECOYS.items():
            self._variable(names, ua.Variant(value))

    def tools(self, magazine: Sequence[ToolSpec]) -> None:
        """One array per field over the pots, in their order; all lives count up."""
        for field, type_ in _TOOL_FIELDS.items():
            values: list[Value] = [False if type_ is V.Boolean else 0] * len(magazine)
            node = self._variable(NAMES[field], ua.Variant(list(values), type_))
            for at, spec in enumerate(magazine):
                for shown, meaning in _sources(field, spec):
                    convert = _element(values, at, type_, meaning)
                    self.bindings.setdefault(tool_signal(spec.pot, shown), []).append(Target(node, convert))


def _wrapped(value: Value) -> ua.Variant:
    return ua.Variant(int(value) % (1 << COUNTER_BITS), V.UInt16)


def _as_whole(type_: ua.VariantType) -> Convert:
    if type_ in (V.Int16, V.UInt16):
        return lambda value: ua.Variant(round(float(value)), type_)
    return as_type(type_)


def _sources(field: str, spec: ToolSpec) -> list[tuple[str, Callable[[Value], Value]]]:
    """(field as the machine tells it, its value as this one)."""
    if field == "used" and not spec.counts_up:
        return [("remaining", lambda left: spec.limit - float(left))]
    if field == "life_basis":
        return [(field, lambda basis: LIFE_KINDS[str(basis)])]
    return [(field, lambda value: value)]


def _element(values: list[Value], at: int, type_: ua.VariantType, meaning: Callable[[Value], Value]) -> Convert:
    def convert(value: Value) -> ua.Variant:
        values[at] = meaning(value)
        # a copy: what was written must not change afterwards
        return ua.Variant(list(values), type_)

    return convert
