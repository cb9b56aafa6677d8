"""A small check of a value against the JSON Schema that OpenAPI gives, as far as pydantic writes it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

_TYPES = {
    "object": dict,
    "array": list,
    "string": str,
    "number": (int, float),
    "integer": int,
    "boolean": bool,
    "null": type(None),
}
_UNDERSTOOD = {
    *("type", "properties", "required", "additionalProperties", "items", "anyOf", "$ref", "enum", "const"),
    *("title", "description", "default"),
}


def errors(value: Any, schema: Mapping[str, Any], root: Mapping[str, Any], at: str = "$") -> Iterator[str]:
    """What does not fit, one line each; raises for schema words that are not understood here."""
    unknown = set(schema) - _UNDERSTOOD
    if unknown:
        raise NotImplementedError(f"{at}: {unknown}")
    if "$ref" in schema:
        schema = root["components"]["schemas"][schema["$ref"].rpartition("/")[2]]
    if "anyOf" in schema:
        if all(list(errors(value, one, root, at)) for one in schema["anyOf"]):
            yield f"{at}: {value!r} fits none of {schema['anyOf']}"
        return
    if "enum" in schema and value not in schema["enum"]:
        yield f"{at}: {value!r} is none of {schema['enum']}"
    if "const" in schema and value != schema["const"]:
        yield f"{at}: {value!r} is not {schema['const']!r}"
    kind = schema.get("type")
    if kind and (not isinstance(value, _TYPES[kind]) or (isinstance(value, bool) and kind != "boolean")):
        yield f"{at}: {value!r} is no {kind}"
    elif kind == "array":
        for place, item in enumerate(value):
            yield from errors(item, schema["items"], root, f"{at}[{place}]")
    elif kind == "object":
        yield from _object(value, schema, root, at)


def _object(
    value: Mapping[str, Any], schema: Mapping[str, Any], root: Mapping[str, Any], at: str
) -> Iterator[str]:
    known = schema.get("properties", {})
    more = schema.get("additionalProperties", True)
    for name in schema.get("required", ()):
        if name not in value:
            yield f"{at}: {name} is missing"
    for name, inner in value.items():
        if name in known:
            yield from errors(inner, known[name], root, f"{at}.{name}")
        elif more is False:
            yield f"{at}: {name} is not described"
        elif isinstance(more, Mapping):
            yield from errors(inner, more, root, f"{at}.{name}")
