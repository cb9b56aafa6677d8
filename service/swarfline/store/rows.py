"""Facts as rows and back. Tuples inside a fact are kept as JSON text."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import fields
from itertools import starmap
from operator import attrgetter
from typing import Any, TypeVar

from swarfline.facts import FACT_KINDS, Cycle, Fact, StepPiece, ToolUse

F = TypeVar("F", bound=Fact)
Row = tuple[Any, ...]

json_of = json.JSONEncoder(separators=(",", ":"), ensure_ascii=False).encode
"""A value as it stands in a row."""

_decode = json.JSONDecoder().raw_decode
"""Value and length of what ``json_of`` wrote: it wrote no space around it, so none need be looked for."""
_NONE = json_of(())


_NAMES: dict[Any, tuple[str, ...]] = {kind: tuple(f.name for f in fields(kind)) for kind in FACT_KINDS}


def names(kind: Any) -> tuple[str, ...]:
    """The fields of a kind of fact, which are its table's columns."""
    return _NAMES[kind]


def to_rows(kind: type[Fact], facts: Iterable[Fact]) -> list[Row]:
    """Facts of one kind as column values, in the order of ``names``."""
    plain = map(_PLAIN[kind], facts)
    return list(map(_with_json, plain)) if kind is Cycle else list(plain)


_PLAIN: dict[Any, Callable[[Fact], Row]] = {kind: attrgetter(*_NAMES[kind]) for kind in FACT_KINDS}
_JSON_PLACES = tuple(_NAMES[Cycle].index(name) for name in ("step_us", "tools", "strip"))


def _with_json(row: Row) -> Row:
    values = list(row)
    for place in _JSON_PLACES:
        values[place] = json_of(values[place])
    return tuple(values)


def from_row(kind: type[F], row: Mapping[Any, Any]) -> F:
    """The fact of a row by column names."""
    return from_values(kind, [row[name] for name in names(kind)])


def from_values(kind: type[F], values: Sequence[Any]) -> F:
    """The fact of column values in the order of ``names``."""
    if kind is not Cycle:
        return kind(*values)
    told = list(values)
    step_us, tools, strip = _JSON_PLACES
    told[step_us] = tuple(_decode(told[step_us])[0])
    told[tools] = _pieces(ToolUse, told[tools])
    told[strip] = _pieces(StepPiece, told[strip])
    return kind(*told)


def _pieces(kind: Callable[..., Any], text: str) -> tuple[Any, ...]:
    return () if text == _NONE else tuple(starmap(kind, _decode(text)[0]))
