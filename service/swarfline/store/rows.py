"""Facts as rows and back. Tuples inside a fact are kept as JSON text."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import fields
from typing import Any, TypeVar

from swarfline.facts import Cycle, Fact, StepPiece, ToolUse

F = TypeVar("F", bound=Fact)
_JSON_FIELDS = ("step_us", "tools", "strip")


def names(kind: Any) -> tuple[str, ...]:
    """The fields of a kind of fact, which are its table's columns."""
    return tuple(f.name for f in fields(kind))


def to_row(fact: Fact) -> dict[str, Any]:
    """A fact as column values."""
    row = {name: getattr(fact, name) for name in names(type(fact))}
    if isinstance(fact, Cycle):
        for name in _JSON_FIELDS:
            row[name] = json.dumps(row[name], separators=(",", ":"), ensure_ascii=False)
    return row


def from_row(kind: type[F], row: Mapping[Any, Any]) -> F:
    """The fact of a row."""
    values = {name: row[name] for name in names(kind)}
    if kind is Cycle:
        values["step_us"] = tuple(json.loads(values["step_us"]))
        values["tools"] = tuple(ToolUse(*use) for use in json.loads(values["tools"]))
        values["strip"] = tuple(StepPiece(*piece) for piece in json.loads(values["strip"]))
    return kind(**values)
