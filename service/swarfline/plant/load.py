"""Read a plant file: every error at once, each naming file, table, key, value and what is allowed."""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ValidationError

from swarfline.plant.checks import cross_checks
from swarfline.plant.model import CURRENCY_PATTERN, ENDPOINT_PATTERN, ID_PATTERN, Plant
from swarfline.plant.repair import repaired
from swarfline.plant.wording import nearest

_WORDS = {
    "tuple_type": "must be a list; tables in a list are written with double brackets, as in [[parts]]",
    "too_short": "must not be empty",
    "model_type": "must be a table",
    "dict_type": "must be a table",
    "string_type": "must be text in quotes",
    "finite_number": "must be a finite number",
}
"""Plain words for kinds of error."""

_PATTERNS = {
    ID_PATTERN: "must be 1 to 40 letters, digits, '.', '_' or '-', beginning with a letter or digit",
    ENDPOINT_PATTERN: "must be written opc.tcp://host:port/path",
    CURRENCY_PATTERN: "must be three capital letters (ISO 4217), such as 'EUR'",
}

REPAIR_ROUNDS = 3
"""A value that is left out may make its table incomplete, which only then shows."""


class PlantError(Exception):
    """The plant file cannot be used. ``lines`` holds one clear line per error."""

    def __init__(self, path: str, lines: Sequence[str]) -> None:
        super().__init__("\n".join(lines))
        self.path = path
        self.lines = tuple(lines)


def load(path: Path) -> Plant:
    """The checked plant; raises PlantError with every error found."""
    try:
        raw = tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as problem:
        raise PlantError(str(path), [f"{path}: cannot be read: {problem.strerror}"]) from None
    except UnicodeDecodeError:
        raise PlantError(str(path), [f"{path}: is not UTF-8 text"]) from None
    except tomllib.TOMLDecodeError as problem:
        raise PlantError(str(path), [f"{path}: not valid TOML: {problem}"]) from None
    return check(raw, str(path))


def check(raw: dict[str, Any], path: str) -> Plant:
    """The checked plant from parsed TOML; raises PlantError. ``path`` is for messages and relative paths."""
    try:
        plant = _parse(raw, path)
        lines = cross_checks(plant)
    except ValidationError as problem:
        errors = _own_errors(problem)
        lines = [*(_line(raw, error) for error in errors), *_further(raw, errors, path)]
    if lines:
        raise PlantError(path, [f"{path}: {line}" for line in lines])
    return plant


def _parse(raw: dict[str, Any], path: str) -> Plant:
    return Plant.model_validate({**raw, "(path)": path})


def _own_errors(problem: ValidationError) -> list[Any]:
    """The errors without those that only follow from another one."""
    errors: list[Any] = list(problem.errors())
    mistyped = {
        (*error["loc"][:-1], nearest(str(error["loc"][-1]), known_keys(error["loc"][:-1])))
        for error in errors
        if error["type"] == "extra_forbidden"
    }
    return [error for error in errors if not _follows(error, mistyped)]


def _follows(error: Any, mistyped: set[tuple[Any, ...]]) -> bool:
    if error["type"] == "missing":
        return error["loc"] in mistyped
    # a list whose only entry is wrong is counted as empty
    return error["type"] == "too_short" and bool(error["input"])


def _further(raw: dict[str, Any], errors: Sequence[Any], path: str) -> list[str]:
    """What else is wrong in a file that already has mistakes in its form, as far as can be told."""
    guess: dict[str, Any] | None = raw
    for _ in range(REPAIR_ROUNDS):
        guess = repaired(guess, errors, known_keys) if guess is not None else None
        if guess is None:
            return []
        try:
            return cross_checks(_parse(guess, path))
        except ValidationError as problem:
            errors = _own_errors(problem)
    return []


def _line(raw: dict[str, Any], error: Any) -> str:
    *table, key = error["loc"]
    where = table_name(raw, table)
    kind = error["type"]
    if kind == "missing":
        return f"{where}: key {key!r} is missing{_about(table, key)}"
    if kind == "extra_forbidden":
        return f"{where}: unknown key {key!r}{_suggest(str(key), list(known_keys(table)))}"
    shown = "" if isinstance(error["input"], dict | list | tuple) else f" = {error['input']!r}"
    return f"{where}: {_entry_name(key)}{shown}: {_plain(error)}"


def _entry_name(key: str | int) -> str:
    return f"entry {key + 1}" if isinstance(key, int) else f"key {key!r}"


def _plain(error: Any) -> str:
    if error["type"] == "string_pattern_mismatch":
        return _PATTERNS[error["ctx"]["pattern"]]
    message: str = _WORDS.get(error["type"], error["msg"].removeprefix("Value error, "))
    return message[0].lower() + message[1:]


def table_name(raw: Any, location: Sequence[str | int]) -> str:
    """How the file writes a table: ``[plant]``, ``[[parts]] 'PH-12'``, ``[[servers.machines]] 'N1' signals``."""
    if not location:
        return "top level"
    head, names, rest, node = "", [str(location[0])], [""], raw.get(location[0])
    for step in location[1:]:
        node = _child(node, step)
        if not isinstance(step, int):
            names.append(step)
            rest.append(step)
            continue
        name = _identity(node)
        if name or not head:
            head, rest = f"[[{'.'.join(names)}]] {name or f'no. {step + 1}'}", []
        else:
            rest.append(f"no. {step + 1}")
    return " ".join([head, *rest]) if head else f"[{'.'.join(names)}]"


def _child(node: Any, step: str | int) -> Any:
    try:
        return node[step]
    except (KeyError, IndexError, TypeError):
        return None


def _identity(node: Any) -> str:
    if isinstance(node, dict):
        for naming in ("id", "name"):
            if isinstance(node.get(naming), str):
                return repr(node[naming])
    return ""


def _model_at(location: Sequence[str | int]) -> type[BaseModel] | None:
    model: Any = Plant
    for step in location:
        if isinstance(step, int):
            continue
        field = getattr(model, "model_fields", {}).get(step)
        if field is None:
            continue
        model = _inner_model(field.annotation) or model
    return model if isinstance(model, type) and issubclass(model, BaseModel) else None


def _inner_model(annotation: Any) -> type[BaseModel] | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for argument in getattr(annotation, "__args__", ()):
        found = _inner_model(argument)
        if found is not None:
            return found
    return None


def known_keys(location: Sequence[str | int]) -> dict[str, Any]:
    """The keys that the table at ``location`` may have, with their annotations."""
    model = _model_at(location)
    fields = {} if model is None else model.model_fields
    return {name: field.annotation for name, field in fields.items() if name != "path"}


def _about(location: Sequence[str | int], key: str | int) -> str:
    model = _model_at(location)
    field = model.model_fields.get(str(key)) if model else None
    return f" ({field.description})" if field is not None and field.description else ""


def _suggest(key: str, known: Sequence[str]) -> str:
    near = nearest(key, known)
    hint = f"; did you mean {near!r}?" if near else ""
    return f"{hint} (known keys: {', '.join(known)})" if known else hint
