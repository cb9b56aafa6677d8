"""The tables of a plant file: what they may hold, and how the file heads them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any, get_args, get_origin

from pydantic import BaseModel

from swarfline.plant.model import Plant
from swarfline.plant.wording import nearest


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


def model_at(location: Sequence[str | int]) -> type[BaseModel] | None:
    """The class of the table at ``location``, or None."""
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
    model = model_at(location)
    fields = {} if model is None else model.model_fields
    return {name: field.annotation for name, field in fields.items() if name != "path"}


def heading(path: Sequence[str], annotation: Any) -> str | None:
    """How the file heads a table of this type: ``[plant]``, ``[[parts]]``, ``[mappings.NAME]``; None: no table."""
    kinds = [kind for kind in (annotation, *get_args(annotation)) if kind is not type(None)]
    name = ".".join(path)
    for kind in kinds:
        inside = get_args(kind)
        if get_origin(kind) is tuple and _is_table(inside[0]):
            return f"[[{name}]]"
        if get_origin(kind) is dict:
            return f"[{name}.NAME]" if _is_table(inside[1]) or get_origin(inside[1]) is dict else f"[{name}]"
        if _is_table(kind):
            return f"[{name}]"
    return None


def _is_table(kind: Any) -> bool:
    return isinstance(kind, type) and issubclass(kind, BaseModel)


def tables_in(location: Sequence[str | int]) -> dict[str, str]:
    """Heading by key, of the tables that the table at ``location`` may have."""
    path = [step for step in location if isinstance(step, str)]
    found = {name: heading((*path, name), kind) for name, kind in known_keys(location).items()}
    return {name: head for name, head in found.items() if head is not None}


def _everywhere(location: Sequence[str] = ()) -> Iterator[tuple[str, str]]:
    """(key, heading) of every table that a file may have."""
    for name, head in tables_in(location).items():
        yield name, head
        path = head.strip("[]").split(".")
        inner = model_at(path)
        # what is no table of its own kind, such as the signals, has only nodes in it
        if inner is not None and inner is not model_at(location) and name != "signals":
            yield from _everywhere(path)


def is_table(content: Any) -> bool:
    """Whether the file wrote this as a table or as a list of tables."""
    listed = content if isinstance(content, list) else [content]
    return bool(listed) and all(isinstance(entry, dict) for entry in listed)


def unknown_table(location: Sequence[str | int], key: str, content: Any) -> str:
    """Says that a table may not be there, which one may have been meant, and what is allowed."""
    path = ".".join([*(step for step in location if isinstance(step, str)), key])
    written = f"[[{path}]]" if isinstance(content, list) else f"[{path}]"
    here = tables_in(location)
    near = nearest(key, [*here, *(name for name, _ in _everywhere())])
    meant = [here[near]] if near in here else [head for name, head in _everywhere() if name == near]
    hint = f"; did you mean {near!r}? It is written {' or '.join(meant)}" if meant else ""
    allowed = f"keys: {', '.join(known_keys(location))}" if location else f"tables: {', '.join(here.values())}"
    return f"unknown table {written}{hint} (known {allowed})"
