"""What the server keeps of what its nodes showed, for clients that were away: in memory, until the server ends."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from datetime import UTC, datetime

from asyncua import ua
from asyncua.server.address_space import AddressSpace

from swarfline_sim.bindings import Bindings

MOST_KEPT = 20_000
"""Values of one node; the oldest go first."""
MOST_RETURNED = 2_000
"""Values of one node in one answer; the rest by continuation points."""
_OPEN = datetime(1970, 1, 1, tzinfo=UTC)
"""A bound of time before this is none: OPC UA says so with the first moment of its calendar."""


class Keeper:
    """Values by node in the order in which they were shown, as a storage of the library's history.

    It is written to directly: a subscription for each node, as the library would have it, would cost more than the
    simulation.
    """

    def __init__(self) -> None:
        self._kept: dict[ua.NodeId, list[ua.DataValue]] = {}

    async def stop(self) -> None:
        """Nothing to write away."""

    def offer(self, aspace: AddressSpace, bindings: Bindings) -> None:
        """Offer the history of every node that shows a signal."""
        for node in {target.node for targets in bindings.values() for target in targets}:
            attributes = aspace[node].attributes
            for level in (ua.AttributeIds.AccessLevel, ua.AttributeIds.UserAccessLevel):
                value = attributes[level].value.Value
                mask = value.Value | ua.AccessLevel.HistoryRead.mask
                attributes[level].value = ua.DataValue(ua.Variant(mask, value.VariantType))
            attributes[ua.AttributeIds.Historizing].value = ua.DataValue(ua.Variant(True))
            self._kept[node] = [attributes[ua.AttributeIds.Value].value]

    def begin(self, node: ua.NodeId, value: ua.DataValue) -> None:
        """The node shows its first value: of what was before, as of before a restart, nothing is kept."""
        self._kept[node] = [value]

    def keep(self, node: ua.NodeId, value: ua.DataValue) -> None:
        """The node shows another value."""
        kept = self._kept[node]
        kept.append(value)
        if len(kept) > MOST_KEPT:
            del kept[: MOST_KEPT // 10]

    async def read_node_history(
        self, node_id: ua.NodeId, start: datetime | None, end: datetime | None, nb_values: int
    ) -> tuple[list[ua.DataValue], datetime | None]:
        """Values between two moments, both included, backwards when the first is the later one."""
        kept = self._kept.get(node_id, [])
        begin, finish = _bound(start) or _OPEN, _bound(end) or datetime.max.replace(tzinfo=UTC)
        low, high = min(begin, finish), max(begin, finish)
        found = kept[bisect_left(kept, low, key=_stamp) : bisect_right(kept, high, key=_stamp)]
        if begin > finish:
            found.reverse()
        most = min(nb_values or MOST_RETURNED, MOST_RETURNED)
        return found[:most], _stamp(found[most]) if len(found) > most else None


def _stamp(value: ua.DataValue) -> datetime:
    stamp = value.SourceTimestamp
    assert isinstance(stamp, datetime)
    return stamp


def _bound(moment: datetime | None) -> datetime | None:
    if moment is None:
        return None
    aware = moment if moment.tzinfo else moment.replace(tzinfo=UTC)
    return aware if aware > _OPEN else None
