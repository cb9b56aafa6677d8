"""Tallies in the store: kept whole, found by span, and gone as soon as a fact that they tell of is written.

What is not tallied is read as facts. So nothing here has to be there, but what is there has to be true.
"""

from __future__ import annotations

import json
from collections.abc import Iterable

from sqlalchemy import Connection, Engine, delete, select

from swarfline.facts import Condition, Count, Fact
from swarfline.store import tables
from swarfline.store.upserts import Row
from swarfline.tallies import Tally

_LONGEST_US = 2 * 86_400_000_000
"""No day of any calendar is longer; keeps the search for what overlaps a fact short."""

_LEAST = -(2**62)
"""Before any time that there can be: a machine's nonsense must not stop the writing."""

_dump = json.JSONEncoder(separators=(",", ":")).encode


def to_row(tally: Tally) -> Row:
    """A tally as column values."""
    sums = _dump([tally.inside_us, tally.outside_us, tally.counts])
    return tally.machine, tally.start_us, tally.end_us, tally.made_by, sums


def forget(connection: Connection, facts: Iterable[Fact]) -> None:
    """Throw the tallies of every day away that one of these facts belongs to, and of the days after it.

    Facts come in the order of time, so as a rule there are none.
    """
    told: dict[str, int] = {}
    for fact in facts:
        if isinstance(fact, Condition | Count):
            first = fact.time_us if isinstance(fact, Count) else fact.start_us
            told[fact.machine] = min(first, told.get(fact.machine, first))
    table = tables.tallies
    for machine, first in told.items():
        near = table.c.machine == machine, table.c.start_us > max(first - _LONGEST_US, _LEAST)
        connection.execute(delete(table).where(*near, table.c.end_us > max(first, _LEAST)))


def forget_machine(connection: Connection, machine: str) -> None:
    """Throw every tally of a machine away."""
    connection.execute(delete(tables.tallies).where(tables.tallies.c.machine == machine))


def tallied(engine: Engine, machine: str, start_us: int, end_us: int, made_by: str) -> list[Tally]:
    """The tallies of whole days in [start, end), in time order."""
    table = tables.tallies
    query = select(table.c.start_us, table.c.end_us, table.c.sums).where(
        table.c.machine == machine,
        table.c.start_us >= start_us,
        table.c.start_us < end_us,
        table.c.end_us <= end_us,
        table.c.made_by == made_by,
    )
    with engine.connect() as connection:
        rows = connection.execute(query.order_by(table.c.start_us)).all()
    return [Tally(machine, start, end, made_by, *json.loads(sums)) for start, end, sums in rows]
