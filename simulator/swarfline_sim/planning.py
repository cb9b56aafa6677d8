"""When people are at a machine: spans of plant time. The model only asks; scenario calendars answer."""

from __future__ import annotations

from typing import NamedTuple, Protocol

ATTENDED, BREAK, UNATTENDED, CLOSED = "attended", "break", "unattended", "closed"

NEVER_US = 1 << 62


class Span(NamedTuple):
    """One kind of time, from ``start_us`` to ``end_us``."""

    start_us: int
    end_us: int
    kind: str


class Plan(Protocol):
    """Tells which span a moment lies in."""

    def at(self, t_us: int) -> Span:
        """The span that holds ``t_us``."""
        ...


class Always:
    """People are there at any time: for tests and small demos."""

    def at(self, t_us: int) -> Span:
        """Attended, for ever."""
        return Span(0, NEVER_US, ATTENDED)


def next_attended(plan: Plan, t_us: int) -> int:
    """When people are there again: ``t_us`` itself when they are, NEVER_US when never."""
    span = plan.at(t_us)
    while span.kind not in (ATTENDED, BREAK):
        if span.end_us >= NEVER_US:
            return NEVER_US
        t_us = span.end_us
        span = plan.at(t_us)
    return t_us
