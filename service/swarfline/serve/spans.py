"""Spans that are asked for: RFC 3339 times, or the names shift, day, week and month; they end at the present."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated, Literal

from fastapi import Depends, Query, Request

from swarfline.calendar import Interval, ShiftSpan
from swarfline.sentence import N_
from swarfline.serve.problems import RefusedError, wrong
from swarfline.serve.room import InRoom, Room
from swarfline.serve.times import parse

SHIFT, DAY, WEEK, MONTH = "shift", "day", "week", "month"
NAMES = {
    SHIFT: "the shift that runs now; if none does, the one that ended last",
    DAY: "the calendar day so far, from midnight in the plant's time zone",
    WEEK: "the calendar week so far, from Monday's midnight in the plant's time zone",
    MONTH: "the calendar month so far, from the first day's midnight in the plant's time zone",
}
ALLOWED = f"an RFC 3339 time with an offset, or one of: {', '.join(NAMES)}"
LONGEST_US = 400 * 86_400_000_000
_LOOK_BACK_US = 15 * 86_400_000_000


@dataclass(frozen=True, slots=True)
class Asked:
    """A span asked for, [start, end) in µs UTC, and the present it was judged by. ``end`` is never ahead of it.

    ``until_us`` is where a named span would end (a shift's end), which may lie ahead.
    """

    start_us: int
    end_us: int
    now_us: int
    until_us: int
    name: str = ""

    @property
    def interval(self) -> Interval:
        """As the calendar and the measures take it."""
        return self.start_us, self.end_us


def latest_shift(room: Room, machines: Sequence[str], now_us: int) -> ShiftSpan | None:
    """The shift that most of these machines are in now, or the one that ended last; None without any."""
    spans = [s for m in machines for s in room.calendar.shift_spans(m, now_us - _LOOK_BACK_US, now_us + 1)]
    running = Counter(s for s in spans if s.start_us <= now_us < s.end_us)
    if running:
        return max(running, key=lambda s: (running[s], -s.start_us))
    return max((s for s in spans if s.end_us <= now_us), key=lambda s: s.end_us, default=None)


def named(room: Room, name: str, machines: Sequence[str], now_us: int) -> Asked:
    """A span by its name, up to the present. Ends the request with 422 where there is no such span."""
    if name == SHIFT:
        shift = latest_shift(room, machines, now_us)
        if shift is None:
            raise wrong(
                "span", N_("no shift was planned in the last 15 days"), N_("day, week, month or RFC 3339 times")
            )
        start, until = shift.start_us, shift.end_us
    else:
        calendar = room.calendar
        whole = {DAY: calendar.day_span, WEEK: calendar.week_span, MONTH: calendar.month_span}[name]
        start, until = whole(calendar.day_of(now_us))
    return Asked(start, min(until, now_us), now_us, until, name)


def resolve(
    room: Room, start: str | None, end: str | None, span: str | None, machines: Sequence[str], default: str
) -> Asked:
    """The span that the parameters from, to and span mean together; Problem 422 where they mean none."""
    now_us = room.now_us()
    if span is not None and (start is not None or end is not None):
        raise wrong(
            "span", N_("names a whole span; it cannot stand beside from or to"), N_("span alone, or from and to")
        )
    if start in NAMES and end is None:
        return named(room, start, machines, now_us)
    if start is None and end is None:
        return named(room, span or default, machines, now_us)
    start_us = _edge(room, "from", start or DAY, machines, now_us)
    end_us = now_us if end is None else _edge(room, "to", end, machines, now_us)
    _check(start_us, end_us, now_us)
    return Asked(start_us, min(end_us, now_us), now_us, end_us)


def _edge(room: Room, parameter: str, text: str, machines: Sequence[str], now_us: int) -> int:
    if text in NAMES:
        found = named(room, text, machines, now_us)
        return found.start_us if parameter == "from" else found.until_us
    try:
        return parse(text)
    except ValueError as problem:
        raise wrong(parameter, str(problem), ALLOWED) from None


def _check(start_us: int, end_us: int, now_us: int) -> None:
    if start_us >= now_us:
        raise wrong("from", N_("does not lie before the plant's present"), N_("a time that has passed"))
    if end_us <= start_us:
        raise wrong("to", N_("lies at or before 'from'"), N_("a time after 'from'"))
    if end_us - start_us > LONGEST_US:
        raise wrong("from", N_("the span is longer than 400 days"), N_("a span of at most 400 days"))


From = Annotated[str | None, Query(alias="from", description=f"start: {ALLOWED}")]
To = Annotated[str | None, Query(description=f"end, not included: {ALLOWED}; by default the present")]
Span = Annotated[
    Literal["shift", "day", "week", "month"] | None,
    Query(description="the current one of its kind; it ends at the present"),
]


class SpanOf:
    """Dependency: the span asked for, with its own default name."""

    def __init__(self, default: str = DAY) -> None:
        self._default = default

    def __call__(
        self, request: Request, room: InRoom, from_: From = None, to: To = None, span: Span = None
    ) -> Asked:
        chosen = request.path_params.get("machine_id") or request.query_params.get("machine")
        cell = request.query_params.get("cell")
        try:
            machines = [m.id for m in room.machines(chosen, cell)]
        except RefusedError:
            machines = []
        return resolve(room, from_, to, span, machines or [m.id for m in room.plant.machines], self._default)


AskedSpan = Annotated[Asked, Depends(SpanOf())]
AskedShift = Annotated[Asked, Depends(SpanOf(SHIFT))]
