"""The list of addresses: what the OpenAPI description says, as HTML."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from markupsafe import Markup, escape


def paragraphs(text: str) -> list[Markup]:
    """Text of a description as paragraphs; what stands between backticks becomes code, all else is escaped."""
    return [_coded(part) for part in re.split(r"\n\s*\n", text.strip())]


def _coded(text: str) -> Markup:
    """Every second piece between backticks is code; a backtick without a partner stays as it is."""
    pieces = text.replace("``", "`").split("`")
    if len(pieces) % 2 == 0:
        pieces[-2:] = ["`".join(pieces[-2:])]
    return Markup("").join(code(p) if place % 2 else escape(p) for place, p in enumerate(pieces))


def code(text: object) -> Markup:
    """Text as code."""
    return Markup("<code>{}</code>").format(text)


def parameters(route: Mapping[str, Any], schemas: Mapping[str, Any]) -> list[Mapping[str, Any]]:
    """What a request may say: its parameters, and the members of its body as if they were some."""
    found = list(route.get("parameters", ()))
    body = route.get("requestBody", {}).get("content", {}).get("application/json", {}).get("schema", {})
    members = schemas.get(body.get("$ref", "").rpartition("/")[2], {}).get("properties", {})
    about = ((name, schema, schema.get("description", "")) for name, schema in members.items())
    return [*found, *({"name": n, "in": "body", "schema": s, "description": d} for n, s, d in about)]


def values(schema: Mapping[str, Any]) -> Markup:
    """What may stand in a parameter, and what stands there by default; empty where it is any text."""
    said = [_allowed(choice) for choice in schema.get("anyOf", [schema])]
    if schema.get("default") not in (None, ""):
        said.append(Markup("by default {}").format(code(_json(schema["default"]))))
    return Markup("; ").join(s for s in said if s)


def _allowed(schema: Mapping[str, Any]) -> Markup:
    if "const" in schema:
        return code(schema["const"])
    if "enum" in schema:
        return Markup(", ").join(code(v) for v in schema["enum"])
    if schema.get("type") == "boolean":
        return Markup(", ").join(code(v) for v in ("true", "false"))
    if "minimum" in schema and "maximum" in schema:
        return Markup("{} to {}").format(code(schema["minimum"]), code(schema["maximum"]))
    return Markup("")


def _json(value: object) -> str:
    return str(value).lower() if isinstance(value, bool) else str(value)
