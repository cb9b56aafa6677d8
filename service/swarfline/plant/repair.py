"""So that all errors come at once: a guess at what a file with mistakes in its form was meant to say.

Only the checks across tables see the guess; it is never used as a plant.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from copy import deepcopy
from typing import Any

from swarfline.plant.wording import nearest

KnownKeys = Callable[[Sequence[str | int]], dict[str, Any]]
"""From the place of a table to its keys and their annotations."""

_NEVER_NAMED = ("shifts", "planned_stops", "stop_reasons")
"""Lists whose tables nothing else refers to, so that one can be left out without a second error."""


def repaired(raw: dict[str, Any], errors: Iterable[Any], known: KnownKeys) -> dict[str, Any] | None:
    """A copy with these errors mended, or None where nothing can be guessed.

    Mistyped keys get the name they are nearest to, other wrong keys and values are left out; a missing number
    becomes 1; a shift, planned stop or stop reason that lacks something is left out.
    """
    copy = deepcopy(raw)
    # found before anything moves, mended from the back
    found = [(_at(copy, error["loc"][:-1]), error) for error in errors]
    for table, error in sorted(found, key=lambda pair: _order(pair[1]["loc"]), reverse=True):
        *place, key = error["loc"]
        if error["type"] == "missing":
            done = _fill(table, str(key), known(place)) or _leave_out(copy, table, place)
        else:
            meant = nearest(str(key), known(place)) if error["type"] == "extra_forbidden" else None
            done = _drop(table, key, meant)
        if not done:
            return None
    return copy


def _order(location: Sequence[str | int]) -> list[tuple[int, str]]:
    return [(step, "") if isinstance(step, int) else (-1, step) for step in location]


def _at(node: Any, place: Sequence[str | int]) -> Any:
    for step in place:
        try:
            node = node[step]
        except (KeyError, IndexError, TypeError):
            return None
    return node


def _drop(table: Any, key: str | int, meant: str | None) -> bool:
    """Take out an entry; put it back under the name that was meant."""
    if isinstance(table, list) and isinstance(key, int):
        table.pop(key)
    elif isinstance(table, dict) and key in table:
        value = table.pop(key)
        if meant is not None:
            table.setdefault(meant, value)
    else:
        return False
    return True


def _fill(table: Any, key: str, known: dict[str, Any]) -> bool:
    if not isinstance(table, dict) or known.get(key) is not float:
        return False
    table.setdefault(key, 1.0)
    return True


def _leave_out(root: dict[str, Any], table: Any, place: Sequence[str | int]) -> bool:
    if len(place) != 2 or place[0] not in _NEVER_NAMED:
        return False
    root[str(place[0])] = [other for other in root[str(place[0])] if other is not table]
    return True
