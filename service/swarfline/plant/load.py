"""Read a plant file: every error at once, each naming file, table, key, value and what is allowed."""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ValidationError

from swarfline.plant.checks import cross_checks
from swarfline.plant.model import Plant


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
        plant = Plant.model_validate({**raw, "path": path})
    except ValidationError as problem:
        lines = [f"{path}: {_line(raw, error)}" for error in problem.errors()]
        raise PlantError(path, lines) from None
    lines = [f"{path}: {line}" for line in cross_checks(plant)]
    if lines:
        raise PlantError(path, lines)
    return plant


def _line(raw: dict[str, Any], error: Any) -> str:
    location = [part for part in error["loc"] if not _is_wrapper(part)]
    *table, key = location
    where = table_name(raw, table)
    kind = error["type"]
    if kind == "missing":
        return f"{where}: key {key!r} is missing{_about(table, key)}"
    if kind == "extra_forbidden":
        return f"{where}: unknown key {key!r}{_suggest(str(key), known_keys(table))}"
    message = error["msg"].removeprefix("Value error, ")
    shown = "" if isinstance(error["input"], dict | list) else f" = {error['input']!r}"
    return f"{where}: key {key!r}{shown}: {_plain(message)}"


def _is_wrapper(part: object) -> bool:
    return isinstance(part, str) and part.startswith("function-")


def _plain(message: str) -> str:
    return message[0].lower() + message[1:] if message else message


def table_name(raw: Any, location: Sequence[str | int]) -> str:
    """How the file writes a table: ``[plant]``, ``[[parts]] 'PH-12'``, ``[[servers]] 'line' machines 'N1'``."""
    if not location:
        return "top level"
    words, node = [], raw
    for step in location:
        try:
            node = node[step]
        except (KeyError, IndexError, TypeError):
            node = None
        words.append(_entry(node, step) if isinstance(step, int) else str(step))
    array = len(location) > 1 and isinstance(location[1], int)
    head = f"[[{words[0]}]]" if array else f"[{'.'.join(w for w in words)}]"
    return " ".join([head, *words[1:]]) if array else head


def _entry(node: Any, index: int) -> str:
    if isinstance(node, dict):
        for naming in ("id", "name"):
            if isinstance(node.get(naming), str):
                return repr(node[naming])
    return f"no. {index + 1}"


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


def known_keys(location: Sequence[str | int]) -> list[str]:
    """The keys that the table at ``location`` may have."""
    model = _model_at(location)
    return [] if model is None else [name for name in model.model_fields if name != "path"]


def _about(location: Sequence[str | int], key: str | int) -> str:
    model = _model_at(location)
    field = model.model_fields.get(str(key)) if model else None
    return f" ({field.description})" if field is not None and field.description else ""


def _suggest(key: str, known: Sequence[str]) -> str:
    near = difflib.get_close_matches(key, known, n=1, cutoff=0.5)
    hint = f"; did you mean {near[0]!r}?" if near else ""
    return f"{hint} (known keys: {', '.join(known)})" if known else hint
