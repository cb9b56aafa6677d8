"""Stops: maximal runs of planned, observed time in which a machine does not produce.

What is not known ends a stop. Unplanned time inside a stop does not count and does not end it: a fault that
goes on through a break, or from one shift into the next, is one stop.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from swarfline.calendar import Interval, intersect, total
from swarfline.facts import FAULT, PRODUCING, UNOBSERVED, Condition
from swarfline.measure.elements import NOT_PRODUCING, window_of

BY_PERSON, BY_RULE, BY_ALARM, BY_NONE = "person", "rule", "alarm", "none"
REASON_BY = (BY_PERSON, BY_RULE, BY_ALARM, BY_NONE)
"""Who or what told the reason of a stop; the first that did counts."""


@dataclass(frozen=True, slots=True)
class Stop:
    """One stop of one machine.

    ``start_us`` and ``end_us`` bound its planned parts, ``length_us`` is their sum: all of the true stop.
    ``planned_us`` and ``by_condition`` (µs by condition, summing to it) hold only what lies in the span asked
    about. ``condition`` filled most of the true stop. ``long`` is judged by the true length. ``reason`` is empty
    when none is known; ``reason_by`` is one of REASON_BY. ``open``: not over yet.
    ``pieces`` are the planned times of the true stop with their conditions.
    ``restore_us`` is the planned time from the first fault in it to its end; None: no fault in it.
    """

    machine: str
    start_us: int
    end_us: int
    length_us: int
    planned_us: int
    condition: str
    by_condition: Mapping[str, int]
    long: bool
    alarm_code: str = ""
    alarm_text: str = ""
    reason: str = ""
    open: bool = False
    restore_us: int | None = None
    pieces: tuple[tuple[str, Interval], ...] = ()
    reason_by: str = BY_NONE


def stops(
    conditions: Iterable[Condition], planned: Sequence[Interval], span: Interval, short_limit_us: int
) -> list[Stop]:
    """The stops of one machine that have planned time in ``span``, in time order.

    ``conditions`` and ``planned`` are sorted and disjoint and reach beyond the span, so that stops which cross
    its edges are judged by their true length. Stops up to ``short_limit_us`` are short.
    """
    starts = [start for start, _ in planned]
    found = (_stop(run, planned, starts, span, short_limit_us) for run in _runs(conditions))
    return [stop for stop in found if stop is not None]


def _runs(conditions: Iterable[Condition]) -> Iterator[list[Condition]]:
    run: list[Condition] = []
    for fact in conditions:
        stopped = fact.condition not in (PRODUCING, UNOBSERVED)
        if run and (not stopped or run[-1].end_us != fact.start_us):
            yield run
            run = []
        if stopped:
            run.append(fact)
    if run:
        yield run


def _stop(
    run: list[Condition], planned: Sequence[Interval], starts: list[int], span: Interval, short_limit_us: int
) -> Stop | None:
    near = _near(planned, starts, run[0].start_us, run[-1].end_us)
    parts = [(fact, _planned_of(fact, near)) for fact in run]
    parts = [(fact, pieces) for fact, pieces in parts if pieces]
    whole = _by_condition(parts)
    counted = whole if _lies_in(span, parts) else _inside(span, parts)
    if not counted:
        return None
    length = sum(whole.values())
    alarm = next((fact for fact, _ in parts if fact.alarm_code or fact.alarm_text), None)
    code, text = (alarm.alarm_code, alarm.alarm_text) if alarm else ("", "")
    return Stop(
        run[0].machine,
        parts[0][1][0][0],
        parts[-1][1][-1][1],
        length,
        sum(counted.values()),
        max(whole, key=lambda c: (whole[c], -NOT_PRODUCING.index(c))),
        counted,
        length > short_limit_us,
        code,
        text,
        text or code,
        run[-1].open,
        _restore(parts),
        tuple((fact.condition, piece) for fact, pieces in parts for piece in pieces),
        BY_ALARM if alarm else BY_NONE,
    )


def _planned_of(fact: Condition, near: list[Interval]) -> list[Interval]:
    whole = (fact.start_us, fact.end_us)
    if len(near) == 1 and near[0][0] <= whole[0] < whole[1] <= near[0][1]:
        return [whole]  # nearly all of them; a month has tens of thousands
    return intersect([whole], near)


def _lies_in(span: Interval, parts: Sequence[tuple[Condition, list[Interval]]]) -> bool:
    return not parts or (span[0] <= parts[0][1][0][0] and parts[-1][1][-1][1] <= span[1])


def _inside(span: Interval, parts: Iterable[tuple[Condition, list[Interval]]]) -> dict[str, int]:
    window = window_of(span)
    return _by_condition((fact, intersect(pieces, window)) for fact, pieces in parts)


def _restore(parts: Sequence[tuple[Condition, list[Interval]]]) -> int | None:
    first = next((i for i, (fact, _) in enumerate(parts) if fact.condition == FAULT), None)
    return None if first is None else sum(total(pieces) for _, pieces in parts[first:])


def _near(planned: Sequence[Interval], starts: list[int], start_us: int, end_us: int) -> list[Interval]:
    """The planned intervals that may touch [start, end); keeps a year of stops from walking a year of shifts."""
    first = max(0, bisect_right(starts, start_us) - 1)
    return list(planned[first : bisect_right(starts, end_us)])


def _by_condition(parts: Iterable[tuple[Condition, list[Interval]]]) -> dict[str, int]:
    sums: dict[str, int] = {}
    for fact, pieces in parts:
        for start, end in pieces:
            sums[fact.condition] = sums.get(fact.condition, 0) + end - start
    return sums
