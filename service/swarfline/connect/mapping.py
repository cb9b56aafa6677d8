"""From the value of a node to the value of a Reading: scale, unit, index, value table, type."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, NamedTuple
from uuid import UUID

from swarfline.connect.codes import STANDARD
from swarfline.connect.unusable import (
    FRACTION_IN_COUNTER,
    NEGATIVE_COUNTER,
    NO_ELEMENT,
    NO_VALUE,
    NOT_DECODED,
    NOT_FINITE,
    OUT_OF_RANGE,
    WRONG_TYPE,
    Altered,
    Unmapped,
    Unusable,
    clean,
)
from swarfline.signals import MOST, MOST_SHOWN, Kind, Quality, Signal, Value

TEXT_LIMIT = 200
"""Longer texts are cut: a reading is no place for documents."""

Convert = Callable[[Any], Value]
_BOOLEANS: dict[Any, bool] = {0: False, 1: True, "0": False, "1": True, "false": False, "true": True}


CANNOT = (ValueError, TypeError, ArithmeticError, LookupError, AttributeError, RecursionError)
"""What ``convert`` may raise for a value that cannot be one of the signal."""


class Translated(NamedTuple):
    """A value in our terms; ``unmapped`` is the code that had no meaning, if that is why there is none."""

    value: Value
    quality: int
    unmapped: str | None = None


@dataclass(frozen=True, slots=True)
class Recipe:
    """How one node's value becomes one signal's: value = raw[index] × unit_factor × scale + offset.

    ``table`` gives our value by the node's code (as text) and takes the place of the standard codes;
    ``width`` is the width of a counter in bits.
    """

    signal: Signal
    scale: float = 1.0
    offset: float = 0.0
    unit_factor: float = 1.0
    index: int | None = None
    table: Mapping[str, str | bool] | None = None
    width: int | None = None


class Translator:
    """Translates one node's values. ``convert`` is the bare function for good values, kept quick.

    ``convert`` raises Unmapped for a code without meaning, Altered for a text of which only a part is used, and
    another of CANNOT for a value that cannot be one of this signal.
    """

    __slots__ = ("convert",)

    def __init__(self, recipe: Recipe) -> None:
        self.convert = _indexed(recipe.index, _tabled(recipe, _by_kind(recipe)))

    def translate(self, raw: object, quality: int = Quality.GOOD) -> Translated:
        """``raw`` as a value of the signal; anything unusable is None with quality BAD."""
        if quality == Quality.BAD:
            return Translated(None, Quality.BAD)
        try:
            return Translated(self.convert(raw), quality)
        except Unmapped as problem:
            return Translated(None, Quality.BAD, problem.code)
        except Altered as problem:
            return Translated(problem.value, quality)
        except CANNOT:
            return Translated(None, Quality.BAD)


def _indexed(index: int | None, convert: Convert) -> Convert:
    if index is None:
        return convert

    def element(raw: Any) -> Value:
        if not isinstance(raw, list | tuple) or index >= len(raw):
            raise Unusable(NO_VALUE if raw is None else NO_ELEMENT)
        return convert(raw[index])

    return element


def _by_kind(recipe: Recipe) -> Convert:
    kind = recipe.signal.kind
    if kind is Kind.NUMBER:
        most = MOST_SHOWN if recipe.signal.name == "energy" else MOST
        return _number(recipe.unit_factor * recipe.scale, recipe.offset, most)
    if kind is Kind.COUNTER:
        return _counter(recipe)
    if kind is Kind.BOOL:
        return _boolean
    if kind is Kind.ENUM:
        return _standard(_lookup(_enum_table(recipe.signal)))
    return _tool_in_spindle if recipe.signal.name == "active_tool" else _text


def _number(factor: float, offset: float, most: float) -> Convert:
    def number(raw: Any) -> float:
        value = float(raw) * factor + offset
        # true for NaN as well
        if not -most <= value <= most:
            raise Unusable(OUT_OF_RANGE if value - value == 0.0 else NOT_FINITE)
        return value

    return number


def _counter(recipe: Recipe) -> Convert:
    if recipe.unit_factor * recipe.scale == 1.0 and recipe.offset == 0.0:
        return _wrapped(_whole, recipe.width)
    number = _number(recipe.unit_factor * recipe.scale, recipe.offset, MOST_SHOWN)
    return _wrapped(lambda raw: _whole(number(raw)), recipe.width)


def _whole(raw: Any) -> int:
    value = int(raw)
    # a text is taken at its word; a number must not have lost a fraction
    if value != raw and not isinstance(raw, str):
        raise Unusable(FRACTION_IN_COUNTER)
    if value > MOST_SHOWN:
        raise Unusable(OUT_OF_RANGE)
    return value


def _wrapped(count: Callable[[Any], int], width: int | None) -> Convert:
    modulus = 1 << width if width is not None else 0

    def counted(raw: Any) -> int:
        value = count(raw)
        if value < 0:
            if not modulus:
                raise Unusable(NEGATIVE_COUNTER)
            # a control may serve an unsigned counter as a signed one
            value %= modulus
        return value

    return counted


def _boolean(raw: Any) -> bool:
    if raw is True or raw is False:
        return bool(raw)
    key = raw[:TEXT_LIMIT].strip().lower() if isinstance(raw, str) else raw
    return bool(_found(_BOOLEANS, key, raw))


def _found(table: Mapping[Any, Value], key: Any, raw: Any) -> Value:
    """The meaning of a code; a thing that is none is of the wrong type."""
    try:
        return table[key]
    except KeyError:
        if raw is None:
            raise Unusable(NO_VALUE) from None
        raise Unmapped(raw) from None
    except TypeError:
        raise Unusable(WRONG_TYPE) from None


def _text(raw: Any) -> str:
    if raw.__class__ is str:
        return _fit(raw)
    if raw is None:
        return ""
    if isinstance(raw, float):
        if raw - raw != 0.0:
            raise Unusable(NOT_FINITE)
        raw = int(raw) if raw.is_integer() else raw
    if isinstance(raw, list | tuple | dict | bytes):
        raise Unusable(WRONG_TYPE)
    if not isinstance(raw, int | float | str | datetime | UUID):
        raise Unusable(NOT_DECODED)
    return _fit(str(raw))


def _fit(text: str) -> str:
    """The text itself, as nearly always; raises Altered with what can be used of it."""
    if len(text) <= TEXT_LIMIT and text.isprintable():
        return text
    cut = clean(text[:TEXT_LIMIT])
    if cut != text:
        raise Altered(cut)
    return cut


def _tool_in_spindle(raw: Any) -> str:
    text = _text(raw).strip()
    return "" if text == "0" else text


def _enum_table(signal: Signal) -> dict[Any, Value]:
    words: dict[Any, Value] = {choice: choice for choice in signal.choices}
    return {**words, **STANDARD.get(signal.name, {})}


def _standard(look: Convert) -> Convert:
    def coded(raw: Any) -> Value:
        # Python takes true for 1: a yes/no node is no state machine
        if raw is True or raw is False:
            raise Unmapped(raw)
        return look(raw)

    return coded


def _lookup(table: Mapping[Any, Value]) -> Convert:
    return lambda raw: _found(table, raw, raw)


def _tabled(recipe: Recipe, convert: Convert) -> Convert:
    if recipe.table is None:
        return convert
    ready: dict[Any, Value] = {}
    for code, meaning in recipe.table.items():
        value = meaning if recipe.signal.kind is Kind.ENUM else convert(meaning)
        for key in _keys(code):
            ready[key] = value
    return _lookup(ready)


def _keys(code: str) -> list[Any]:
    """The code as text, and as what a node of another type would show for it."""
    keys: list[Any] = [code]
    if code.strip().lower() in ("true", "false"):
        keys.append(code.strip().lower() == "true")
    try:
        keys.append(float(code))
    except ValueError:
        return keys
    return keys
