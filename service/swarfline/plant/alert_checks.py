"""Checks of [alerts]: levels of return on the right side of their limits, and exceptions that can come true."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from swarfline.plant.alerts import SELECTORS, AlertsTable, ExceptionTable, RuleTable, merged
from swarfline.plant.wording import unknown

if TYPE_CHECKING:
    from swarfline.plant.model import Plant


def alert_errors(plant: Plant) -> Iterator[str]:
    """One line per setting that cannot do what it says, in the file's order."""
    alerts = plant.alerts
    for name in AlertsTable.model_fields:
        table = getattr(alerts, name)
        if isinstance(table, RuleTable):
            yield from _levels(f"[alerts.{name}]", table, table.model_fields_set)
    for number, exception in enumerate(alerts.exceptions, 1):
        where = f"[[alerts.exceptions]] no. {number}"
        yield from _selection(where, exception, plant)
        for name, told in exception.settings.items():
            yield from _selectable(where, exception, name, told)
            whole = merged(getattr(alerts, name), told)
            yield from _levels(f"{where} {name}", whole, told.model_fields_set)


def _levels(where: str, table: RuleTable, given: set[str]) -> Iterator[str]:
    """Levels on the wrong side; blamed on a key that the file gives."""
    for low, high in table.not_above:
        below, above = getattr(table, low), getattr(table, high)
        if below is None or above is None or below <= above or not given & {low, high}:
            continue
        if low in given:
            yield f"{where}: key {low!r} = {below}: must not be above {high!r}, which is {above}"
        else:
            yield f"{where}: key {high!r} = {above}: must not be below {low!r}, which is {below}"


def _selection(where: str, exception: ExceptionTable, plant: Plant) -> Iterator[str]:
    known = {
        "machines": [m.id for m in plant.machines],
        "cells": [c.id for c in plant.cells],
        "servers": [s.id for s in plant.servers],
    }
    for key, ids in known.items():
        for one in exception.selection.get(key, ()):
            if one not in ids:
                yield f"{where}: key {key!r}: {unknown(key[:-1], one, ids)}"
    if not exception.selection:
        allowed = ", ".join(repr(key) for key in SELECTORS)
        yield f"{where}: says not what it holds for; give one of {allowed}, or set the rule itself"
    if not exception.settings:
        yield f"{where}: sets nothing; give a rule's settings, as in tool_near_limit = {{ lead_min = 120 }}"


def _selectable(where: str, exception: ExceptionTable, name: str, table: RuleTable) -> Iterator[str]:
    for key in exception.selection:
        if key not in table.selected_by:
            allowed = " and ".join(repr(k) for k in table.selected_by)
            yield f"{where}: key {key!r}: does not go with {name!r}, whose exceptions are told by {allowed}"
