"""The REST API as a client sees it: facts with all of their pages, times as microseconds."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import httpx

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
LONG_AGO = timedelta(days=30)
TIMES = ("start", "end", "time", "at", "since", "raised", "cleared", "from", "to", "next_attempt")

Row = dict[str, Any]


def us_of(text: str) -> int:
    """Microseconds UTC of an RFC 3339 time."""
    return (datetime.fromisoformat(text) - EPOCH) // timedelta(microseconds=1)


def timed(row: Row) -> Row:
    """A row with ``…_us`` beside each time."""
    return row | {f"{name}_us": us_of(row[name]) for name in TIMES if isinstance(row.get(name), str)}


class Api:
    """One running service."""

    def __init__(self, address: str) -> None:
        self._client = httpx.Client(base_url=address, timeout=60)

    def close(self) -> None:
        """Give the connections back."""
        self._client.close()

    def text(self, path: str, **asked: Any) -> str:
        """A page."""
        return self._answer(path, asked).text

    def get(self, path: str, **asked: Any) -> Row:
        """An answer of the API, below /api/v1."""
        answer = self._answer(f"/api/v1{path}", asked).json()
        assert isinstance(answer, dict)
        return timed(answer)

    def status(self, path: str) -> int:
        """The status code of an address."""
        return self._client.get(path).status_code

    def _answer(self, path: str, asked: Row) -> httpx.Response:
        answer = self._client.get(path, params=asked or None)
        assert answer.status_code == 200, f"{path}: {answer.status_code} {answer.text}"
        return answer

    def rows(self, path: str, **asked: Any) -> list[Row]:
        """A list; of a list of facts every page."""
        answer = self._answer(f"/api/v1{path}", asked).json()
        rows = [timed(row) for row in answer["items"]]
        while answer.get("next"):
            answer = self._answer(answer["next"], {}).json()
            rows += [timed(row) for row in answer["items"]]
        return rows

    def machines(self) -> list[str]:
        """The ids of the machines."""
        return [row["machine"] for row in self.rows("/machines")]

    def now(self) -> list[Row]:
        """What each machine is doing now."""
        return [self.get(f"/machines/{machine}/now") for machine in self.machines()]

    def present_us(self) -> int:
        """The plant's present."""
        return us_of(self.get("/plant")["now"])

    def facts(self, machine: str, kind: str, since_us: int | None = None) -> list[Row]:
        """Everything known of one kind, of the latest 30 days or since a moment."""
        long_ago = EPOCH + timedelta(microseconds=self.present_us()) - LONG_AGO
        since = long_ago if since_us is None else EPOCH + timedelta(microseconds=since_us)
        return self.rows(f"/machines/{machine}/{kind}", **{"from": since.isoformat(), "limit": 1000})

    def server(self) -> Row:
        """The connection to the only server."""
        (row,) = self.rows("/servers")
        return row
