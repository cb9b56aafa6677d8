"""From the value of a node to the value of a Reading: scale, unit, index, value table, type."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, NamedTuple

from swarfline.connect.codes import STANDARD
from swarfline.signals import Kind, Quality, Signal, Value

TEXT_LIMIT = 200
"""Longer texts are cut: a reading is no place for documents."""

Convert = Callable[[Any], Value]
_BOOLEANS: dict[Any, bool] = {0: False, 1: True, "0": False, "1": True, "false": False, "true": True}


class Unmapped(ValueError):
    """The node shows a code that nobody gave a meaning."""

    def __init__(self, code: object) -> None:
        super().__init__(f"code {code!r} has no meaning here")
        self.code = str(code)[:TEXT_LIMIT]


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

    ``convert`` raises Unmapped for a code without meaning, another ValueError, TypeError or OverflowError for
    a value that cannot be one of this signal.
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
        except (ValueError, TypeError, OverflowError):
            return Translated(None, Quality.BAD)


def _indexed(index: int | None, convert: Convert) -> Convert:
    if index is None:
        return convert

    def element(raw: Any) -> Value:
        if not isinstance(raw, list | tuple) or index >= len(raw):
            raise ValueError(f"no element {index}")
        return convert(raw[index])

    return element


def _by_kind(recipe: Recipe) -> Convert:
    kind = recipe.signal.kind
    if kind is Kind.NUMBER:
        return _number(recipe.unit_factor * recipe.scale, recipe.offset)
    if kind is Kind.COUNTER:
        return _counter(recipe)
    if kind is Kind.BOOL:
        return _boolean
    if kind is Kind.ENUM:
        return _standard(_lookup(_enum_table(recipe.signal)))
    return _tool_in_spindle if recipe.signal.name == "active_tool" else _text


def _number(factor: float, offset: float) -> Convert:
    def number(raw: Any) -> float:
        value = float(raw) * factor + offset
        # true for NaN and for both infinities, in one operation
        if value - value != 0.0:
            raise ValueError("not a finite number")
        return value

    return number


def _counter(recipe: Recipe) -> Convert:
    if recipe.unit_factor * recipe.scale == 1.0 and recipe.offset == 0.0:
        return _wrapped(_whole, recipe.width)
    number = _number(recipe.unit_factor * recipe.scale, recipe.offset)
    return _wrapped(lambda raw: _whole(number(raw)), recipe.width)


def _whole(raw: Any) -> int:
    value = int(raw)
    # a text is taken at its word; a number must not have lost a fraction
    if value != raw and not isinstance(raw, str):
        raise ValueError("a counter shows whole numbers")
    return value


def _wrapped(count: Callable[[Any], int], width: int | None) -> Convert:
    modulus = 1 << width if width is not None else 0

    def counted(raw: Any) -> int:
        value = count(raw)
        if value < 0:
            if not modulus:
                raise ValueError("a counter without a width cannot be negative")
            # a control may serve an unsigned counter as a signed one
            value %= modulus
        return value

    return counted


def _boolean(raw: Any) -> bool:
    if raw is True or raw is False:
        return bool(raw)
    key = raw.strip().lower() if isinstance(raw, str) else raw
    try:
        return _BOOLEANS[key]
    except KeyError:
        raise Unmapped(raw) from None


def _text(raw: Any) -> str:
    if raw.__class__ is str:
        return str(raw[:TEXT_LIMIT])
    if raw is None:
        return ""
    if isinstance(raw, float) and raw.is_integer():
        raw = int(raw)
    if isinstance(raw, list | tuple | dict) or (isinstance(raw, float) and not math.isfinite(raw)):
        raise ValueError("not a text")
    return str(raw)[:TEXT_LIMIT]


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
    def look(raw: Any) -> Value:
        try:
            return table[raw]
        except (KeyError, TypeError):
            raise Unmapped(raw) from None

    return look


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
