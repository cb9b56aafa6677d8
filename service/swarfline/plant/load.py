"""Read a plant file: every error at once, each naming file, table, key, value and what is allowed."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from swarfline.plant.base import ID_PATTERN
from swarfline.plant.channels import HOST_PATTERN, MAIL_PATTERN, VARIABLE_PATTERN
from swarfline.plant.checks import cross_checks
from swarfline.plant.model import CURRENCY_PATTERN, ENDPOINT_PATTERN, ORIGIN_PATTERN, Plant
from swarfline.plant.repair import repaired
from swarfline.plant.syntax import parse
from swarfline.plant.tables import is_table, known_keys, model_at, table_name, tables_in, unknown_table
from swarfline.plant.wording import nearest

_WORDS = {
    "tuple_type": "must be a list in brackets",
    "too_short": "must not be empty",
    "model_type": "must be a table",
    "dict_type": "must be a table",
    "string_type": "must be text in quotes",
    "finite_number": "must be a finite number",
}
"""Plain words for kinds of error."""

_PATTERNS = {
    ORIGIN_PATTERN: "must be written https://name or https://name:port, in small letters and without a path",
    ID_PATTERN: "must be 1 to 40 letters, digits, '.', '_' or '-', beginning with a letter or digit",
    ENDPOINT_PATTERN: "must be written opc.tcp://host:port/path",
    CURRENCY_PATTERN: "must be three capital letters (ISO 4217), such as 'EUR'",
    MAIL_PATTERN: "must be a mail address of ASCII signs, written name@host",
    HOST_PATTERN: "must be the name or address of a host, without a port",
    VARIABLE_PATTERN: "must be the name of an environment variable: letters, digits and '_'",
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
        text = path.read_text(encoding="utf-8")
    except OSError as problem:
        raise PlantError(str(path), [f"{path}: cannot be read: {problem.strerror}"]) from None
    except UnicodeDecodeError:
        raise PlantError(str(path), [f"{path}: is not UTF-8 text"]) from None
    raw, mistakes = parse(text)
    lines = [f"{path}: {line}" for line in mistakes]
    if raw is None:
        raise PlantError(str(path), lines)
    try:
        plant = check(raw, str(path))
    except PlantError as problem:
        raise PlantError(str(path), [*lines, *problem.lines]) from None
    if lines:
        raise PlantError(str(path), lines)
    return plant


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
        if is_table(error["input"]) and known_keys(table):
            return f"{where}: {unknown_table(table, str(key), error['input'])}"
        return f"{where}: unknown key {key!r}{_suggest(str(key), list(known_keys(table)))}"
    shown = "" if isinstance(error["input"], dict | list | tuple) else f" = {error['input']!r}"
    return f"{where}: {_entry_name(key)}{shown}: {_brackets(error) or _plain(error)}"


def _brackets(error: Any) -> str | None:
    """What to say of a table whose heading has too few or too many brackets."""
    *table, key = error["loc"]
    heading = tables_in(table).get(key)
    if heading is None or not is_table(error["input"]):
        return None
    if error["type"] == "tuple_type":
        return f"must be a list; tables in a list are written with double brackets, as in {heading}"
    if error["type"] in ("model_type", "dict_type"):
        return f"must be one table; it is written with single brackets, as in {heading}"
    return None


def _entry_name(key: str | int) -> str:
    return f"entry {key + 1}" if isinstance(key, int) else f"key {key!r}"


def _plain(error: Any) -> str:
    if error["type"] == "string_pattern_mismatch":
        return _PATTERNS[error["ctx"]["pattern"]]
    message: str = _WORDS.get(error["type"], error["msg"].removeprefix("Value error, "))
    return message[0].lower() + message[1:]


def _about(location: Sequence[str | int], key: str | int) -> str:
    model = model_at(location)
    field = model.model_fields.get(str(key)) if model else None
    return f" ({field.description})" if field is not None and field.description else ""


def _suggest(key: str, known: Sequence[str]) -> str:
    near = nearest(key, known)
    hint = f"; did you mean {near!r}?" if near else ""
    return f"{hint} (known keys: {', '.join(known)})" if known else hint
