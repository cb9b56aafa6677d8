"""The outbox: messages that are to be delivered, stored before any attempt and kept after the last one.

Messages about alerts are queued by the writer in the transaction of the alerts' changes. An attempt begins with
``begin``, which puts the next one off: whoever dies in between leaves a message that is due again.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Any

from sqlalchemy import ColumnElement, Connection, Engine, case, delete, func, insert, or_, select, update
from sqlalchemy.dialects import postgresql, sqlite

from swarfline.messages import (
    IN_ANOTHER,
    LONGEST_SUBJECT,
    LONGEST_TEXT,
    WAITING,
    Attachment,
    Delivery,
    Message,
)
from swarfline.store import tables

_OUT, _FILES = tables.outbox, tables.outbox_files
LONGEST_PROBLEM = 500
_KEYS = select(_OUT.c.channel, _OUT.c.key)


def queue(connection: Connection, messages: Iterable[Message]) -> list[int]:
    """Add messages in the caller's transaction; the numbers of those whose key was not there already."""
    module = postgresql if connection.dialect.name == "postgresql" else sqlite
    add = module.insert(_OUT).on_conflict_do_nothing(index_elements=["channel", "key"]).returning(_OUT.c.id)
    numbers = []
    for message in messages:
        number = connection.execute(add, _row(message)).scalar()
        if number is None:
            continue
        numbers.append(int(number))
        files = [_file_row(number, place, one) for place, one in enumerate(message.attachments)]
        if files:
            connection.execute(insert(_FILES), files)
    return numbers


class Outbox:
    """Queues messages and keeps how their delivery stands; safe to use from several threads and processes."""

    def __init__(self, engine: Engine) -> None:
        self._engine = engine

    def add(self, messages: Iterable[Message]) -> list[int]:
        """Queue messages, all or none; the numbers of the new ones. One whose key is there already is left."""
        with self._engine.begin() as connection:
            return queue(connection, messages)

    def due(self, channel: str, now_us: int, limit: int) -> list[Delivery]:
        """Messages of a channel whose next attempt is due, in the order of queueing, with their files."""
        # tried in the future: the clock was set back, and what it said then is worth nothing
        now = or_(_OUT.c.next_us <= now_us, _OUT.c.tried_us > now_us)
        wanted = (_OUT.c.channel == channel, _OUT.c.state == WAITING, now)
        with self._engine.connect() as connection:
            rows = (
                connection.execute(select(_OUT).where(*wanted).order_by(_OUT.c.id).limit(limit)).mappings().all()
            )
            files = _files(connection, [row["id"] for row in rows])
        return [_delivery(row, files.get(row["id"], ())) for row in rows]

    def begin(self, delivery: Delivery, now_us: int, until_us: int) -> bool:
        """An attempt begins, which nobody repeats before ``until_us``; False: somebody else began or ended it."""
        return self._change(delivery, tried_us=now_us, next_us=until_us, attempts=delivery.attempts + 1)

    def again(self, delivery: Delivery, next_us: int, problem: str) -> bool:
        """The attempt that was begun failed; the next one is due at ``next_us``."""
        return self._change(_begun(delivery), next_us=next_us, problem=problem[:LONGEST_PROBLEM])

    def settle(self, delivery: Delivery, state: str, now_us: int, problem: str = "", begun: bool = True) -> bool:
        """No attempt follows any more; ``begun``: one was begun since ``delivery`` was read."""
        told = {"problem": problem[:LONGEST_PROBLEM]} if problem else {}
        return self._change(
            _begun(delivery) if begun else delivery, state=state, settled_us=now_us, next_us=None, **told
        )

    def join(self, parts: Sequence[Delivery], whole: Message, now_us: int) -> int | None:
        """Put ``whole`` in the place of messages that wait; its number, None when one of them waits no more."""
        with self._engine.begin() as connection:
            numbers = queue(connection, [whole])
            if not numbers:
                return None
            gone = {"state": IN_ANOTHER, "inside": numbers[0], "settled_us": now_us, "next_us": None}
            for part in parts:
                if connection.execute(update(_OUT).where(*_unchanged(part)).values(gone)).rowcount != 1:
                    connection.rollback()
                    return None
        return numbers[0]

    def settled_since(self, channel: str, state: str, since_us: int) -> int:
        """How many messages of a channel came to this state at or after a moment."""
        wanted = (_OUT.c.channel == channel, _OUT.c.state == state, _OUT.c.settled_us >= since_us)
        with self._engine.connect() as connection:
            return int(connection.execute(select(func.count()).select_from(_OUT).where(*wanted)).scalar() or 0)

    def waiting(self, channel: str) -> int:
        """How many messages of a channel wait."""
        wanted = (_OUT.c.channel == channel, _OUT.c.state == WAITING)
        with self._engine.connect() as connection:
            return int(connection.execute(select(func.count()).select_from(_OUT).where(*wanted)).scalar() or 0)

    def late(self, before_us: int) -> tuple[int, int | None]:
        """How many messages wait that could have been sent before a moment, and since when the first of them."""
        ready_us = case((_OUT.c.not_before_us > _OUT.c.created_us, _OUT.c.not_before_us), else_=_OUT.c.created_us)
        query = select(func.count(), func.min(ready_us)).where(_OUT.c.state == WAITING, ready_us < before_us)
        with self._engine.connect() as connection:
            count, since_us = connection.execute(query).one()
        return int(count), None if since_us is None else int(since_us)

    def waiting_elsewhere(self, channels: Iterable[str], limit: int) -> list[Delivery]:
        """Messages that wait for channels other than these."""
        return self._list(limit, _OUT.c.state == WAITING, _OUT.c.channel.not_in(list(channels)))

    def keys(self, keys: Iterable[str]) -> set[tuple[str, str]]:
        """(channel, key) of the messages that are there, of these keys."""
        asked = sorted(set(keys))
        found: set[tuple[str, str]] = set()
        with self._engine.connect() as connection:
            # databases limit how many values a statement may have
            for place in range(0, len(asked), 500):
                some = _OUT.c.key.in_(asked[place : place + 500])
                found.update((row.channel, row.key) for row in connection.execute(_KEYS.where(some)))
        return found

    def forget(self, before_us: int) -> int:
        """Delete what was settled before a moment; how many messages."""
        old = (_OUT.c.state != WAITING, _OUT.c.settled_us < before_us)
        with self._engine.begin() as connection:
            connection.execute(delete(_FILES).where(_FILES.c.message.in_(select(_OUT.c.id).where(*old))))
            return int(connection.execute(delete(_OUT).where(*old)).rowcount)

    def told(
        self, limit: int, channel: str | None = None, state: str | None = None, before: int | None = None
    ) -> list[Delivery]:
        """Messages without their files, newest first: of a channel, in a state, numbered below ``before``."""
        wanted = []
        if channel is not None:
            wanted.append(_OUT.c.channel == channel)
        if state is not None:
            wanted.append(_OUT.c.state == state)
        if before is not None:
            wanted.append(_OUT.c.id < before)
        return self._list(limit, *wanted)

    def _list(self, limit: int, *wanted: ColumnElement[bool]) -> list[Delivery]:
        query = select(_OUT).where(*wanted).order_by(_OUT.c.id.desc()).limit(limit)
        with self._engine.connect() as connection:
            return [_delivery(row, ()) for row in connection.execute(query).mappings()]

    def _change(self, delivery: Delivery, **values: Any) -> bool:
        with self._engine.begin() as connection:
            changed = connection.execute(update(_OUT).where(*_unchanged(delivery)).values(values))
            return bool(changed.rowcount == 1)


def _unchanged(delivery: Delivery) -> tuple[ColumnElement[bool], ...]:
    """That nobody began an attempt or ended it meanwhile."""
    return (_OUT.c.id == delivery.number, _OUT.c.state == WAITING, _OUT.c.attempts == delivery.attempts)


def _begun(delivery: Delivery) -> Delivery:
    return replace(delivery, attempts=delivery.attempts + 1)


def _row(message: Message) -> dict[str, Any]:
    return {
        "channel": message.channel,
        "key": message.key,
        "kind": message.kind,
        "subject": _storable(message.subject)[:LONGEST_SUBJECT],
        "text": _storable(message.text)[:LONGEST_TEXT],
        "html": None if message.html is None else _storable(message.html),
        "data": json.dumps(message.data),
        "created_us": message.created_us,
        "not_before_us": message.not_before_us,
        "state": WAITING,
        "attempts": 0,
        "next_us": max(message.created_us, message.not_before_us),
        "problem": "",
    }


def _storable(text: str) -> str:
    """Without what no database holds: a machine's nonsense must not keep the transaction of its alert out."""
    return text.encode("utf-8", "replace").decode("utf-8").replace("\0", "\ufffd")


def _file_row(number: int, place: int, file: Attachment) -> dict[str, Any]:
    return {
        "message": number,
        "place": place,
        "name": _storable(file.name),
        "media_type": file.media_type,
        "content": file.content,
    }


def _files(connection: Connection, numbers: Sequence[int]) -> dict[int, tuple[Attachment, ...]]:
    query = select(_FILES).where(_FILES.c.message.in_(numbers)).order_by(_FILES.c.message, _FILES.c.place)
    found: dict[int, tuple[Attachment, ...]] = {}
    for row in connection.execute(query):
        file = Attachment(row.name, row.media_type, row.content)
        found[row.message] = (*found.get(row.message, ()), file)
    return found


def _delivery(row: Mapping[Any, Any], files: tuple[Attachment, ...]) -> Delivery:
    message = Message(
        row["channel"], row["key"], row["subject"], row["text"], row["created_us"], row["kind"], row["html"],
        files, json.loads(row["data"]), row["not_before_us"],
    )  # fmt: skip
    return Delivery(
        row["id"], message, row["state"], row["attempts"], row["tried_us"], row["next_us"], row["settled_us"],
        row["problem"], row["inside"],
    )  # fmt: skip
