"""What is wrong with the value of a mapped node, in words that say what to do."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, NamedTuple

from asyncua import ua

from swarfline.connect.engineering import unit_factor
from swarfline.connect.inspection import Weight, legible
from swarfline.connect.mapping import CANNOT
from swarfline.connect.names import Refusal
from swarfline.connect.reasons import status_words
from swarfline.connect.resolve import Found, Wanted
from swarfline.connect.unusable import Altered, Unmapped
from swarfline.signals import Kind, Value

_FLOATS = ("Float", "Double")
_NARROW = {"SByte": 8, "Byte": 8, "Int16": 16, "UInt16": 16}
_DEFAULT_WIDTH = 32
QUALITIES = ("good", "uncertain", "bad", "bad")
"""By the two top bits of a status code (OPC 10000-4, 7.39)."""

_LOOK_UP = "look the node up in the server's address space and correct it in the plant file"
_ADVICE = {
    "BadNoMatch": _LOOK_UP,
    "BadNodeIdUnknown": _LOOK_UP,
    "BadNodeIdInvalid": _LOOK_UP,
    "BadAttributeIdInvalid": "this node is no variable: map the variable below it",
    "BadNotReadable": "have reading of this node allowed at the server, or map another",
    "BadUserAccessDenied": "have reading of this node allowed at the server, or map another",
}
_ELSE = "the node tells nothing now: see at the machine whether what it shows is switched on and connected"


class Defect(NamedTuple):
    """What was found and what to do about it."""

    weight: Weight
    found: str
    advice: str


def advice_for(code: int) -> str:
    """What to do about a status code."""
    return _ADVICE.get(ua.StatusCode(code & 0xFFFF0000).name, _ELSE)


def refusal_advice(reason: str) -> str:
    """What to do about a mapping that was refused with this reason."""
    for name, advice in _ADVICE.items():
        if name in reason:
            return advice
    if "unit" in reason:
        return "map a node of the right quantity, or write the true unit of this one as unit = … in the plant file"
    if "namespace" in reason:
        return "correct the URI in [namespaces]; it must be letter by letter that of the server's NamespaceArray"
    return _LOOK_UP


def unit_defects(want: Wanted, stated: str | None) -> Iterator[Defect]:
    """``stated`` is the unit that the node itself states."""
    inside, written = want.signal.unit, want.ref.unit
    if want.signal.kind is not Kind.NUMBER or not inside or inside == "basis":
        return
    if written is None and stated is None:
        yield Defect("note", f"states no unit; taken as {inside}", "if that is wrong, write unit = …")
    elif written is not None and stated is not None:
        try:
            agrees = unit_factor(stated, inside) == unit_factor(written, inside)
        except Refusal:
            agrees = False
        if not agrees:
            yield Defect(
                "note",
                f"the node states {legible(stated)!r}, the plant file says {written!r}, which is what counts",
                "compare with the control's display; leave unit out if the node is right",
            )


def convert(found: Found, raw: Any) -> tuple[Value, list[Defect]]:
    """The value in our terms, and why there is none."""
    kind, name = found.wanted.signal.kind, found.wanted.signal.name
    text = legible(raw)
    try:
        return found.translator.convert(raw), []
    except Unmapped as problem:
        code = legible(problem.code)
        meanings = ", ".join(found.wanted.signal.choices) or "true, false"
        advice = f'say what it means: values = {{ "{code}" = … }} of {name}, one of {meanings}'
        return None, [Defect("error", f"code {code!r} has no meaning", advice)]
    except Altered as problem:
        return problem.value, []
    except CANNOT:
        pass
    if raw is None:
        return None, [Defect("error", "has no value (null)", _ELSE)]
    index = found.wanted.ref.index
    if index is not None and (not isinstance(raw, list) or index >= len(raw)):
        length = f"an array of {len(raw)}" if isinstance(raw, list) else "no array"
        return None, [Defect("error", f"is {length}; there is no element {index}", "correct index")]
    if isinstance(raw, list):
        return None, [Defect("error", f"is an array of {len(raw)}", "say which element: index = …, from 0")]
    if kind is Kind.COUNTER:
        return None, [
            Defect("error", f"{text!r} is no whole number from 0", "map the node that counts, or correct scale")
        ]
    if kind is Kind.NUMBER:
        return None, [Defect("error", f"{text!r} is no number", "map the node that shows the number")]
    return None, [Defect("error", f"{text!r} cannot be read as {name}", "map another node")]


def type_defects(want: Wanted, kind: str) -> Iterator[Defect]:
    """A counter whose type cannot count on and on."""
    if want.signal.kind is not Kind.COUNTER or want.signal.name == "lot_size":
        return
    # 24 bits of significand: IEEE 754 binary32, from memory
    if kind in _FLOATS:
        limit = "; a Float cannot count beyond 16,777,216" if kind == "Float" else ""
        yield Defect("error", f"a counter of type {kind}, not a whole number{limit}", "map an integer node")
    width = _NARROW.get(kind)
    if width is not None and (want.ref.width or _DEFAULT_WIDTH) != width:
        yield Defect("note", f"{kind} rolls over after {width} bits", f"write width = {width}")


def status_defects(status: int) -> Iterator[Defect]:
    """A status other than Good."""
    severity = status >> 30
    if severity >= 2:
        yield Defect("error", f"status {status_words(status)}", advice_for(status))
    elif severity == 1:
        yield Defect("note", f"status {status_words(status)}", "the server doubts this value; it is used as it is")
