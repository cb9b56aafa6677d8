"""What serving asks of a store: the read side, as methods. All of them may be called from any thread."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Protocol, TypeVar

from swarfline.alerts import Alert
from swarfline.facts import Cycle, Fact, ToolLife

F = TypeVar("F", bound=Fact)


class Queries(Protocol):
    """The questions. Times are µs UTC, spans half-open."""

    def facts(
        self,
        kind: type[F],
        machine: str,
        start_us: int,
        end_us: int,
        limit: int | None = None,
        after: int | None = None,
    ) -> list[F]:
        """Facts of one kind that overlap [start, end), in time order; ``after``: only later ones."""

    def open_tool_lives(self, machine: str) -> list[ToolLife]:
        """The tools now."""

    def last_cycles(self, machine: str, limit: int, before_us: int, program: str | None = None) -> list[Cycle]:
        """The newest complete cycles that lie before a moment, oldest first."""

    def now(self, machine: str) -> Mapping[str, Any] | None:
        """What a machine is doing, None when it was never heard of."""

    def alerts(
        self,
        standing: bool = False,
        machine: str | None = None,
        start_us: int | None = None,
        end_us: int | None = None,
        limit: int = 1000,
    ) -> Sequence[Alert]:
        """Alerts, newest first."""

    def servers(self) -> Sequence[Mapping[str, Any]]:
        """The newest status of every server that was ever seen, each with ``seen_us``."""

    def latest_us(self, machine: str) -> int | None:
        """How far a machine's facts have been observed."""

    def reachable(self) -> bool:
        """Whether the database answers; raises its error when it does not."""


class Source(Protocol):
    """A store, as far as serving is concerned."""

    @property
    def queries(self) -> Queries:
        """Its read side."""
