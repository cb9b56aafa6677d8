"""The store: what is kept. Facts are written by one writer, entries by whoever serves; both are read by many."""

from __future__ import annotations

import shutil
import threading
from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path
from typing import Any

from swarfline.store import journal, tables
from swarfline.store.alerting import Alerting
from swarfline.store.claim import claimed
from swarfline.store.copying import back_up
from swarfline.store.engine import StoreError, make_engine, resolve_url
from swarfline.store.entering import Entering, entering
from swarfline.store.exchange import Exchange, Exchanged, writing_alone
from swarfline.store.journal import Arrival
from swarfline.store.migrate import prepare
from swarfline.store.outbox import Outbox
from swarfline.store.queries import CycleStart, Queries
from swarfline.store.users import Users
from swarfline.store.writer import Batch, Writer, load_checkpoints

__all__ = [
    "Alerting",
    "Arrival",
    "Batch",
    "CycleStart",
    "Entering",
    "Exchange",
    "Exchanged",
    "Outbox",
    "Queries",
    "Store",
    "StoreError",
    "Users",
    "Writer",
]


class Store:
    """An open database of this version's schema."""

    def __init__(self, url: str, beside: Path | None = None) -> None:
        self.engine = make_engine(resolve_url(url, beside))
        self.backup = prepare(self.engine)
        self.queries = Queries(self.engine)
        self.outbox = Outbox(self.engine)
        self.users = Users(self.engine)
        self._door = threading.Lock()

    @classmethod
    def open(cls, url: str, beside: Path | None = None) -> Store:
        """Open, creating or upgrading as needed; a relative SQLite path lies ``beside`` the plant file.

        Raises StoreError when the database is newer than the program, of an unsupported engine, or cannot be
        opened.
        """
        return cls(url, beside)

    def writer(self) -> Writer:
        """The one writer."""
        return Writer(self.engine)

    def checkpoints(self) -> dict[str, dict[str, Any]]:
        """The interpreter's state by machine, as of the last commit."""
        with self.engine.connect() as connection:
            return load_checkpoints(connection)

    def readings(self, from_us: int, to_us: int) -> list[Any]:
        """The journal's readings with source time in [from, to), in order of arrival."""
        with self.engine.connect() as connection:
            return list(journal.replay(connection, from_us, to_us))

    def arrivals(self, after: int = -1) -> Iterator[tuple[int, list[Arrival]]]:
        """Each commit's number and what arrived in it, of commits numbered above ``after``, oldest first."""
        with self.engine.connect() as connection:
            yield from journal.arrivals(connection, after)

    def claimed(self) -> AbstractContextManager[None]:
        """To be held while collecting; entering it raises StoreError when another process does already."""
        return claimed(self.engine)

    @contextmanager
    def exchanging(self) -> Iterator[Exchange]:
        """Facts may be exchanged as long as the context lasts; whoever else writes waits."""
        with writing_alone(self.engine, tables.journal) as connection:
            yield Exchange(connection)

    @contextmanager
    def entering(self) -> Iterator[Entering]:
        """Entries may be added as long as the context lasts; they are stored at its end, or none is.

        No other entry comes meanwhile, so what is read then still holds at the end. Raises StoreError when the
        database cannot be written. Needs no claim: collecting goes on beside it.
        """
        # one at a time: those who waited at the database would hold the connections that the first one reads by
        with self._door, entering(self.engine) as door:
            yield door

    def back_up(self, target: Path) -> int:
        """Copy the whole database as it is now into the new file ``target``; its size in bytes.

        Raises StoreError where a file stands there already, where it cannot be written, and for a database that is
        no SQLite file, which has means of its own.
        """
        return back_up(self.engine, target)

    def free_bytes(self) -> int | None:
        """Room left on the disk that the database lies on; None where that is not this computer's."""
        url = self.engine.url
        if url.get_backend_name() != "sqlite" or not url.database or not Path(url.database).is_file():
            return None
        return shutil.disk_usage(Path(url.database).parent).free

    def alerting(self) -> Alerting:
        """For people to acknowledge and shelve alerts; needs no claim, collecting goes on beside it."""
        return Alerting(self.engine)

    def close(self) -> None:
        """Give the connections back."""
        self.engine.dispose()
