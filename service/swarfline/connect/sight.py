"""What the variables of a walk are: type, unit, texts of numbers, access, value; read in slices, kept in short."""

from __future__ import annotations

import contextlib
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from asyncua import ua

from swarfline.connect.decode import Decoder
from swarfline.connect.engineering import unit_symbol
from swarfline.connect.names import Names
from swarfline.connect.services import Services, browse_path
from swarfline.connect.sighting import Variable
from swarfline.connect.status import Tally
from swarfline.connect.walk import TEXT_LENGTH, Place, Progress, Walked

AT_ONCE = 200
"""Variables whose values are in hand at the same time."""
MOST_ELEMENTS = 200
MOST_TEXTS = 100
_UNITS, _STRINGS, _VALUES = "EngineeringUnits", "EnumStrings", "EnumValues"
_ABOUT = frozenset({
    _UNITS, _STRINGS, _VALUES, "EURange", "InstrumentRange", "ValuePrecision", "Definition", "NodeVersion",
    "InputArguments", "OutputArguments", "TrueState", "FalseState", "Icon", "NamingRule", "LocalTime",
    "MaxStringLength", "MaxArrayLength", "ValueAsText", "AxisScaleType", "Title",
})  # fmt: skip
"""Properties of the base model that tell about a variable and are none that a machine could mean."""
_DURATION = int(ua.ObjectIds.Duration)
_HIGHEST_BUILT_IN = 25
_HISTORY_READ = 4
_QUALITIES: tuple[Literal["good", "uncertain", "bad"], ...] = ("good", "uncertain", "bad", "bad")
_ATTRIBUTES = (
    ua.AttributeIds.Value,
    ua.AttributeIds.DataType,
    ua.AttributeIds.UserAccessLevel,
    ua.AttributeIds.Description,
)


@dataclass(frozen=True, slots=True)
class Space:
    """What a walk met, with the namespaces that its indexes stand for."""

    walked: Walked
    uris: Sequence[str]

    def uri(self, index: int) -> str:
        """Of a namespace; an index that the server does not explain becomes a text that no server has."""
        return self.uris[index] if 0 <= index < len(self.uris) else f"urn:unexplained:{index}"

    def node(self, node: ua.NodeId) -> str:
        """A NodeId with its namespace by URI."""
        _, _, identifier = node.to_string().rpartition(f"ns={node.NamespaceIndex};")
        return f"nsu={self.uri(node.NamespaceIndex)};{identifier}"

    def path(self, n: int) -> tuple[tuple[str, str], ...]:
        """(namespace URI, browse name) of each step from below Objects to a place."""
        places = self.walked.places
        return tuple((self.uri(places[step].namespace), places[step].name) for step in self.walked.path(n))


def is_about(place: Place) -> bool:
    """True for a property that only tells about another variable."""
    return place.namespace == 0 and place.name in _ABOUT


class Sight:
    """Reads variables of one session."""

    def __init__(self, services: Services, space: Space, names: Names, progress: Progress) -> None:
        self._services = services
        self._space = space
        self._simple = Decoder(names, Tally()).simple
        self._progress = progress
        self._texts: dict[ua.NodeId, dict[str, str] | None] = {}

    async def all(self) -> dict[int, Variable]:
        """Every variable of the walk that may carry a signal, by its place."""
        places = self._space.walked.places
        asked = [n for n, place in enumerate(places) if place.is_variable and not is_about(place)]
        about = self._about()
        found: dict[int, Variable] = {}
        for start in range(0, len(asked), AT_ONCE):
            some = asked[start : start + AT_ONCE]
            found.update(zip(some, await self._some(some, about), strict=True))
            self._progress("variables", len(found), len(asked))
        return found

    def _about(self) -> dict[int, dict[str, ua.NodeId]]:
        """The unit and text properties of each variable."""
        found: dict[int, dict[str, ua.NodeId]] = {}
        for place in self._space.walked.places:
            if place.name in (_UNITS, _STRINGS, _VALUES):
                found.setdefault(place.parent, {}).setdefault(place.name, place.node)
        return found

    async def _some(self, some: Sequence[int], about: Mapping[int, dict[str, ua.NodeId]]) -> Iterator[Variable]:
        nodes = [self._space.walked.places[n].node for n in some]
        rows = [await self._services.read(nodes, attribute) for attribute in _ATTRIBUTES]
        told = {n: about[n] for n in some if n in about}
        said = dict(zip(told, await self._properties(list(told.values())), strict=True))
        types = [_good(data) for data in rows[1]]
        kinds = [kind if isinstance(kind, ua.NodeId) else None for kind in types]
        # texts help, but a server that cannot resolve paths is surveyed all the same
        with contextlib.suppress(ua.UaStatusCodeError):
            await self._learn_texts([kind for kind in kinds if kind is not None])
        return iter([
            self._variable(n, [row[i] for row in rows], kinds[i], said.get(n, {})) for i, n in enumerate(some)
        ])  # fmt: skip

    async def _properties(self, asked: Sequence[Mapping[str, ua.NodeId]]) -> list[dict[str, Any]]:
        nodes = [node for each in asked for node in each.values()]
        values = iter(await self._services.read(nodes) if nodes else ())
        return [{name: _good(next(values)) for name in each} for each in asked]

    async def _learn_texts(self, types: Sequence[ua.NodeId]) -> None:
        """The texts of enumerations that are told at their data type."""
        new = [kind for kind in dict.fromkeys(types) if kind not in self._texts and not _is_built_in(kind)]
        names = (_STRINGS, _VALUES)
        paths = [browse_path(kind, [ua.QualifiedName(name, 0)]) for kind in new for name in names]
        found = await self._services.translate(paths) if paths else []
        places = iter(found)
        asked = [
            {name: place for name in names if isinstance(place := next(places), ua.NodeId)} for _ in new
        ]  # fmt: skip
        for kind, said in zip(new, await self._properties(asked), strict=True):
            self._texts[kind] = _texts(said)

    def _variable(
        self, n: int, row: Sequence[ua.DataValue], kind: ua.NodeId | None, said: Mapping[str, Any]
    ) -> Variable:
        value, place = row[0], self._space.walked.places[n]
        quality = _QUALITIES[value.StatusCode.value >> 30]
        raw = self._simple(value.Value.Value) if quality != "bad" and value.Value is not None else None
        access, description = _good(row[2]), _good(row[3])
        return Variable(
            node=self._space.node(place.node),
            path=self._space.path(n),
            display=place.display,
            description=str(getattr(description, "Text", None) or "")[:TEXT_LENGTH],
            type=_type_name(value, kind),
            length=len(raw) if isinstance(raw, list) else None,
            unit=_unit(said.get(_UNITS), kind),
            texts=_texts(said) or (self._texts.get(kind) if kind is not None else None),
            value=plain_value(raw),
            quality=quality,
            keeps_history=isinstance(access, int) and bool(access & _HISTORY_READ),
        )


def plain_value(raw: Any) -> object:
    """A value as the walk keeps it: plain, short, None for what is neither number, text nor a list of them."""
    if isinstance(raw, list):
        return [plain_value(each) for each in raw[:MOST_ELEMENTS]]
    if isinstance(raw, str):
        return raw[:TEXT_LENGTH]
    if isinstance(raw, float):
        return raw if math.isfinite(raw) else None
    # an enumeration of the library is an int with a name of its own
    return raw if raw is None or isinstance(raw, bool) else int(raw) if isinstance(raw, int) else None


def _good(data: ua.DataValue) -> Any:
    return data.Value.Value if data.StatusCode.is_good() and data.Value is not None else None


def _type_name(value: ua.DataValue, kind: ua.NodeId | None) -> str:
    if value.Value is not None and value.Value.VariantType != ua.VariantType.Null:
        return str(value.Value.VariantType.name)
    if kind is not None and _is_built_in(kind):
        return str(ua.VariantType(int(kind.Identifier)).name)
    return ""


def _is_built_in(kind: ua.NodeId) -> bool:
    # a number by the standard; but a server may say anything
    number = kind.Identifier
    return kind.NamespaceIndex == 0 and isinstance(number, int) and 0 < number <= _HIGHEST_BUILT_IN


def _unit(information: Any, kind: ua.NodeId | None) -> str | None:
    known = unit_symbol(information)
    if known is not None:
        return known[:TEXT_LENGTH]
    if kind is not None and kind.NamespaceIndex == 0 and kind.Identifier == _DURATION:
        return "ms"
    display = getattr(information, "DisplayName", None)
    return str(getattr(display, "Text", None) or "")[:TEXT_LENGTH] or None


def _texts(said: Mapping[str, Any]) -> dict[str, str] | None:
    """Text by number, from EnumValues or EnumStrings."""
    pairs: list[tuple[Any, Any]] = []
    if isinstance(said.get(_VALUES), list):
        pairs = [(getattr(v, "Value", None), getattr(v, "DisplayName", None)) for v in said[_VALUES]]
    elif isinstance(said.get(_STRINGS), list):
        pairs = list(enumerate(said[_STRINGS]))
    texts = {
        str(number): str(text.Text or "")[:TEXT_LENGTH]
        for number, text in pairs[:MOST_TEXTS]
        if isinstance(number, int) and isinstance(text, ua.LocalizedText)
    }
    return texts or None
