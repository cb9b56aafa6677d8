"""Ribbons: conditions over time as the shapes of a small SVG, one path per condition, without text or style.

A condition is told by height as well as by colour, so that a ribbon reads without colours too.
"""

from __future__ import annotations

from collections.abc import Iterable

from swarfline.calendar import Interval
from swarfline.facts import (
    CONDITIONS,
    FAULT,
    HELD,
    OFF,
    OUT_OF_SERVICE,
    PRODUCING,
    SETUP,
    UNOBSERVED,
    WAITING,
    Condition,
)

WIDTH = 1000
HEIGHT = 24

LEVEL = {
    PRODUCING: (0, 24),
    SETUP: (6, 24),
    HELD: (10, 24),
    WAITING: (14, 24),
    FAULT: (0, 24),
    OUT_OF_SERVICE: (18, 24),
    OFF: (21, 24),
    UNOBSERVED: (11, 13),
}
"""Top and bottom of each condition; a fault is notched."""

_NOTCH = 8
_LEAST = 1.0
"""Width that nothing rare and short (faults, alarms, gaps) falls below; the rest is drawn true to scale."""


def ribbon(conditions: Iterable[Condition], span: Interval, now_us: int) -> dict[str, str]:
    """SVG path by condition, in a box of WIDTH × HEIGHT.

    What no condition tells of up to ``now_us`` is unobserved; what lies ahead stays blank.
    """
    told_until = min(span[1], now_us)
    pieces: dict[str, list[str]] = {c: [] for c in CONDITIONS}
    at = span[0]
    for fact in conditions:
        start, end = max(fact.start_us, span[0]), min(fact.end_us, told_until)
        if start >= end:
            continue
        if at < start:
            _draw(pieces, UNOBSERVED, at, start, span)
        _draw(pieces, fact.condition, start, end, span)
        at = end
    if at < told_until:
        _draw(pieces, UNOBSERVED, at, told_until, span)
    return {c: "".join(found) for c, found in pieces.items()}


def ticks(spans: Iterable[Interval], span: Interval) -> str:
    """A path of full-height bars for intervals (alarms, gaps, planned time) in the same box."""
    inside = ((max(a, span[0]), min(b, span[1])) for a, b in spans)
    return "".join(_box(a, b, 0, HEIGHT, span) for a, b in inside if a < b)


def _draw(pieces: dict[str, list[str]], condition: str, start: int, end: int, span: Interval) -> None:
    top, bottom = LEVEL[condition]
    least = _LEAST if condition == FAULT else 0.0
    pieces[condition].append(_box(start, end, top, bottom, span, least))
    if condition == FAULT:
        left, right = _x(start, span), _x(end, span)
        pieces[condition].append(f"M{right:.5g} 0L{(left + right) / 2:.5g} {_NOTCH}L{left:.5g} 0Z")


def _box(start: int, end: int, top: int, bottom: int, span: Interval, least: float = _LEAST) -> str:
    left, right = _x(start, span), _x(end, span)
    return f"M{left:.6g} {top}H{max(right, left + least):.6g}V{bottom}H{left:.6g}Z"


def _x(us: int, span: Interval) -> float:
    return WIDTH * (us - span[0]) / max(1, span[1] - span[0])


def hours(span: Interval, label: int = 3600_000_000) -> list[Interval]:
    """The hours of a span, the last one cut off at its end."""
    return [(at, min(at + label, span[1])) for at in range(span[0], span[1], label)]


def bar(share: float | None) -> str:
    """Path of a bar that fills ``share`` of the box's width, at most all of it."""
    filled = 0.0 if share is None else min(max(share, 0.0), 1.0) * WIDTH
    return f"M0 0H{filled:.5g}V{HEIGHT}H0Z"


def line_at(share: float) -> str:
    """Path of an upright mark at ``share`` of the box's width."""
    at = min(max(share, 0.0), 1.0) * (WIDTH - 6)
    return f"M{at:.5g} 0H{at + 6:.5g}V{HEIGHT}H{at:.5g}Z"
