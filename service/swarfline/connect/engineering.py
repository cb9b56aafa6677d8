"""Engineering units of nodes: read, understood, turned into factors."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from asyncua import ua

from swarfline.connect.inspection import SHOWN
from swarfline.connect.names import Refusal
from swarfline.connect.services import Services, browse_path
from swarfline.units import LIFE_UNITS, canonical, factor, from_unit_id

CEFACT = "http://www.opcfoundation.org/UA/units/un/cefact"
_DURATION = ua.NodeId(ua.ObjectIds.Duration)
_UNITS_NAME = ua.QualifiedName("EngineeringUnits", 0)
_ALL_INSIDE = ("W", "Wh", "s", "m", "%", "1/min", "mm/min")


async def read_units(services: Services, nodes: Sequence[ua.NodeId]) -> list[str | None]:
    """The unit symbol of each node, from its EngineeringUnits or from its type Duration (ms); None unknown."""
    paths = [browse_path(node, [_UNITS_NAME]) for node in nodes]
    places = [place if isinstance(place, ua.NodeId) else None for place in await services.translate(paths)]
    present = [place for place in places if place is not None]
    values = iter(await services.read(present)) if present else iter(())
    symbols = [unit_symbol(next(values).Value.Value) if place is not None else None for place in places]
    silent = [n for n, symbol in enumerate(symbols) if symbol is None]
    types = await services.read([nodes[n] for n in silent], ua.AttributeIds.DataType) if silent else []
    for n, kind in zip(silent, types, strict=True):
        if kind.Value.Value == _DURATION:
            symbols[n] = "ms"
    return symbols


def unit_symbol(information: Any) -> str | None:
    """The symbol that an EUInformation stands for; None when it says nothing.

    A coded unit that is not known here comes back as its display text or its code, so that a conflict shows.
    """
    if not isinstance(information, ua.EUInformation):
        return None
    text = (information.DisplayName.Text or "")[:SHOWN].strip() if information.DisplayName is not None else ""
    if information.UnitId > 0 and information.NamespaceUri in (CEFACT, None, ""):
        known = from_unit_id(information.UnitId)
        if known is not None:
            return known
        if information.NamespaceUri == CEFACT:
            return text or f"unit code {information.UnitId}"
    return canonical(text) if text and _is_known(text) else None


def _is_known(text: str) -> bool:
    return any(_converts(text, inside) for inside in _ALL_INSIDE)


def _converts(unit: str, inside: str) -> bool:
    try:
        factor(unit, inside)
    except ValueError:
        return False
    return True


def unit_factor(unit: str | None, inside: str) -> float:
    """Factor from a node's unit to the signal's; an unknown unit is taken to be ours; raises Refusal.

    ``basis`` (tool lives) stands for whichever of s, m, 1 the unit converts to.
    """
    if unit is None or not inside:
        return 1.0
    for candidate in LIFE_UNITS.values() if inside == "basis" else (inside,):
        if _converts(unit, candidate):
            return factor(unit, candidate)
    allowed = "s, m or a count" if inside == "basis" else inside
    raise Refusal(f"the node's unit is {unit!r}, which cannot be converted to {allowed}")
