"""Entries of people: added, never altered; each in a small transaction beside the one writer of facts."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import asdict, replace
from typing import Any

from sqlalchemy import Connection, Engine, insert
from sqlalchemy.exc import DBAPIError

from swarfline.entries import SAID_KINDS, Entry, Undone
from swarfline.store import tables
from swarfline.store.engine import StoreError
from swarfline.store.exchange import writing_alone

UNDO = "undo"
_KINDS = {kind.kind: kind for kind in SAID_KINDS}


@contextmanager
def entering(engine: Engine) -> Iterator[Entering]:
    """A transaction that adds entries, beside which nobody else adds any; raises StoreError."""
    try:
        with writing_alone(engine, tables.entries) as connection:
            yield Entering(connection)
    except DBAPIError as problem:
        raise StoreError(f"the database cannot be written now ({problem.orig}); nothing was entered") from problem


class Entering:
    """What may be done while nobody else enters anything."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def add(self, entry: Entry) -> Entry:
        """The entry as it is stored, with its number."""
        said = json.dumps(asdict(entry.said))
        return replace(entry, number=self._insert(entry, entry.said.kind, said, entry.who, entry.note))

    def undo(self, entry: Entry, undone: Undone) -> Entry:
        """The entry as one that does not hold any more; it must not be undone already."""
        when = replace(entry, entered_us=undone.at_us)
        self._insert(when, UNDO, "{}", undone.who, undone.note, undoes=entry.number)
        return replace(entry, undone=undone)

    def _insert(
        self, entry: Entry, kind: str, content: str, who: str, note: str, undoes: int | None = None
    ) -> int:
        row = {
            "machine": entry.machine,
            "start_us": entry.start_us,
            "end_us": entry.end_us,
            "kind": kind,
            "content": content,
            "who": who,
            "note": note,
            "entered_us": entry.entered_us,
            "undoes": undoes,
        }
        added = self._connection.execute(insert(tables.entries), row).inserted_primary_key
        assert added is not None
        return int(added[0])


def from_entry_row(row: Mapping[Any, Any]) -> Entry:
    """The entry of a row, joined with the undo of it (``by``, ``at_us``, ``why``)."""
    return Entry(
        row["machine"],
        row["start_us"],
        row["end_us"],
        _KINDS[row["kind"]](**json.loads(row["content"])),
        row["who"],
        row["entered_us"],
        row["note"],
        row["id"],
        None if row["by"] is None else Undone(row["by"], row["at_us"], row["why"]),
    )
