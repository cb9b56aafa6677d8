"""Cursor paging over facts in time order, with a Link header (RFC 8288) to the next page."""

from __future__ import annotations

import base64
import binascii
from collections.abc import Callable, Sequence
from typing import Annotated, TypeVar

from fastapi import Depends, Query, Request

from swarfline.entries import Entry
from swarfline.facts import Count, Fact, LimitChange
from swarfline.measure.stops import Stop
from swarfline.serve.problems import wrong
from swarfline.serve.room import Room
from swarfline.serve.spans import Asked
from swarfline.serve.table import CSV_ASKED, WantsCsv
from swarfline.serve.times import show

LIMIT, MOST = 200, 1000
MOST_CSV = 100_000
"""A table is sent whole up to so many rows; what is longer is refused, for a table that was cut looks whole."""

F = TypeVar("F", bound=Fact | Stop | Entry)
Ask = Callable[[int, int | None], list[F]]
"""(limit, after) → facts in time order."""


class Window:
    """The page asked for."""

    def __init__(
        self,
        request: Request,
        csv: WantsCsv,
        limit: Annotated[
            int | None, Query(ge=1, le=MOST, description=f"most rows of one page, {LIMIT} unless told; as CSV all")
        ] = None,
        cursor: Annotated[str | None, Query(description="from the link of the page before")] = None,
    ) -> None:
        self._request = request
        self.limit = most_rows(limit, csv)
        self._whole = csv and limit is None
        self.after = None if cursor is None else _read(cursor)

    def take(self, ask: Ask[F]) -> tuple[list[F], int | None]:
        """The page's facts, and the time of its last one when more follow.

        Facts of one moment are never parted, so a page may be a little shorter or, at a pinch, longer.
        """
        most = self.limit
        while True:
            found = ask(most + 1, self.after)
            if len(found) <= most:
                return found, None
            if self._whole:
                raise wrong(
                    "to", f"makes a table of more than {MOST_CSV} rows", "a shorter span, or pages by 'limit'"
                )
            page = [f for f in found if moment(f) < moment(found[-1])]
            if page:
                return page, moment(page[-1])
            most *= 2

    def next_url(self, room: Room, asked: Asked, last_us: int | None) -> str | None:
        """Address of the following page, of the same span; None when this was the last."""
        if last_us is None:
            return None
        edges = {"from": show(asked.start_us, room.zone), "to": show(asked.end_us, room.zone)}
        url = self._request.url.remove_query_params("span").include_query_params(**edges, cursor=_write(last_us))
        suffix = ".csv" if self._request.scope.get(CSV_ASKED) else ""
        return f"{url.path}{suffix}?{url.query}"


def most_rows(limit: int | None, csv: bool) -> int:
    """Rows to send where ``limit`` was asked for or not."""
    return limit or (MOST_CSV if csv else LIMIT)


Paged = Annotated[Window, Depends()]


def link(url: str | None) -> dict[str, str]:
    """The Link header, if there is a next page."""
    return {} if url is None else {"link": f'<{url}>; rel="next"'}


def moment(fact: Fact | Stop | Entry) -> int:
    """When a fact happened or began, or from when on an entry speaks, µs UTC."""
    return fact.time_us if isinstance(fact, Count | LimitChange) else fact.start_us


def page_of(facts: Sequence[F], limit: int, after: int | None) -> list[F]:
    """The page of facts already in hand, as a store would give it."""
    return [f for f in facts if after is None or moment(f) > after][:limit]


def _write(last_us: int) -> str:
    return base64.urlsafe_b64encode(f"1:{last_us}".encode()).decode().rstrip("=")


def _read(cursor: str) -> int:
    try:
        text = base64.urlsafe_b64decode(cursor + "=" * (-len(cursor) % 4)).decode()
        version, _, last_us = text.partition(":")
        if version == "1":
            return int(last_us)
    except (ValueError, binascii.Error):
        pass
    raise wrong("cursor", "is not one that this service gave", "the cursor of a 'next' link, unchanged")
