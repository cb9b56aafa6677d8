"""The journal: every reading as it came, kept compactly and read back in the order of arrival.

A block holds the readings of one commit, state-like and wiggling signals apart, so that the two can be kept
for different times. The arrival numbers, which order the two kinds of block, go on from commit to commit.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import compress
from operator import itemgetter
from typing import Any

from sqlalchemy import Connection, func, select

from swarfline.signals import Reading, is_state_like
from swarfline.store import tables
from swarfline.store.pack import pack, unpack

Block = dict[str, Any]
"""A row of the journal's table."""

Arrival = tuple[Reading, bool]
"""A reading, and whether it came too late to be interpreted."""

_AT_ONCE = 100


class _StateLike(dict[str, bool]):
    """Remembers which signals are state-like."""

    def __missing__(self, signal: str) -> bool:
        flag = self[signal] = is_state_like(signal)
        return flag


class Journal:
    """Makes blocks of readings."""

    def __init__(self) -> None:
        self._state_like = _StateLike()

    def blocks(self, readings: Sequence[Reading], first_number: int, late: Sequence[int] = ()) -> list[Block]:
        """Rows for the journal's table from readings in order of arrival; ``late`` are places in the list.

        Raises StoreError, naming the reading, for one that the journal cannot hold.
        """
        known = self._state_like
        flags = [known[reading[1]] for reading in readings]
        kinds = ((False, [not flag for flag in flags]), (True, flags))
        return [_block(readings, chosen, first_number, kind, late) for kind, chosen in kinds if any(chosen)]


def _block(
    readings: Sequence[Reading], chosen: list[bool], first_number: int, state_like: bool, late: Sequence[int]
) -> Block:
    places = list(compress(range(len(readings)), chosen))
    kept = list(compress(readings, chosen))
    # first, since it checks the times
    payload = pack(kept, places, late)
    source = list(map(itemgetter(2), kept))
    return {
        "state_like": state_like,
        "from_us": min(source),
        "to_us": max(source),
        "first_number": first_number,
        "readings": len(kept),
        "payload": payload,
    }


def payloads(connection: Connection, first_number: int) -> list[bytes]:
    """What the blocks of one commit hold, in the order in which they were written."""
    table = tables.journal
    query = select(table.c.payload).where(table.c.first_number == first_number).order_by(table.c.id)
    return list(connection.execute(query).scalars())


def next_number(connection: Connection) -> int:
    """The arrival number after the last one given, whether or not its reading is still kept."""
    first = connection.execute(select(func.max(tables.journal.c.first_number))).scalar()
    told = connection.execute(select(func.max(tables.checkpoints.c.next_number))).scalar() or 0
    if first is None:
        return int(told)
    last = max(unpack(payload)[-1][0] for payload in payloads(connection, first))
    return max(int(told), int(first) + last + 1)


def replay(connection: Connection, from_us: int, to_us: int) -> Iterator[Reading]:
    """Readings with source time in [from, to), in order of arrival; blocks are read some commits at a time."""
    table = tables.journal
    # numbers first: sorting the blocks themselves would put them into memory whole
    numbers = connection.execute(
        select(table.c.first_number)
        .where(table.c.to_us >= from_us, table.c.from_us < to_us)
        .distinct()
        .order_by(table.c.first_number)
    )
    for _, arrived in _commits(connection, list(numbers.scalars())):
        yield from (reading for reading, _ in arrived if from_us <= reading.source_us < to_us)


def arrivals(connection: Connection, after: int = -1) -> Iterator[tuple[int, list[Arrival]]]:
    """Each commit's number and what arrived in it, oldest first; only commits numbered above ``after``."""
    number = tables.journal.c.first_number
    numbers = connection.execute(select(number).where(number > after).distinct().order_by(number))
    yield from _commits(connection, list(numbers.scalars()))


def _commits(connection: Connection, numbers: Sequence[int]) -> Iterator[tuple[int, list[Arrival]]]:
    for at in range(0, len(numbers), _AT_ONCE):
        yield from _some_commits(connection, numbers[at : at + _AT_ONCE])


def _some_commits(connection: Connection, numbers: Sequence[int]) -> Iterator[tuple[int, list[Arrival]]]:
    table = tables.journal
    found: dict[int, list[tuple[int, Reading, bool]]] = {number: [] for number in numbers}
    query = select(table.c.first_number, table.c.payload).where(table.c.first_number.in_(numbers))
    for number, payload in connection.execute(query):
        found[number] += unpack(payload)
    for number, numbered in found.items():
        yield number, [(reading, late) for _, reading, late in sorted(numbered, key=itemgetter(0))]


def size(connection: Connection) -> int:
    """How many readings are kept."""
    return int(connection.execute(select(func.coalesce(func.sum(tables.journal.c.readings), 0))).scalar_one())
