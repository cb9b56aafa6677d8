"""Reasons of stops: what a machine's alarm says, what a rule makes of it, what a person knew.

A person's word goes before a rule, a rule before the alarm.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from fnmatch import fnmatchcase

from swarfline.entries import Entry, StopReason, standing
from swarfline.measure.stops import BY_PERSON, BY_RULE, Stop


@dataclass(frozen=True, slots=True)
class ReasonRule:
    """Gives ``reason`` to the stops that meet everything it asks for; None and empty ask for nothing.

    ``conditions`` hold what fills most of the stop. The patterns are met by the whole text of the stop's alarm,
    case aside; ``*``, ``?`` and ``[…]`` stand for what they do in file names. ``least_us`` and ``most_us`` bound
    the true length of the stop, both included.
    """

    reason: str
    conditions: frozenset[str] = frozenset()
    alarm_code: str | None = None
    alarm_text: str | None = None
    machines: frozenset[str] = frozenset()
    least_us: int | None = None
    most_us: int | None = None

    def fits(self, stop: Stop) -> bool:
        """Whether the stop meets all of it."""
        return (
            (not self.machines or stop.machine in self.machines)
            and (not self.conditions or stop.condition in self.conditions)
            and (self.least_us is None or stop.length_us >= self.least_us)
            and (self.most_us is None or stop.length_us <= self.most_us)
            and _told(stop.alarm_code, self.alarm_code)
            and _told(stop.alarm_text, self.alarm_text)
        )


def _told(text: str, pattern: str | None) -> bool:
    """Whether an alarm's text meets a pattern; where the machine told none, no pattern is met."""
    return pattern is None or (text != "" and fnmatchcase(text.casefold(), pattern.casefold()))


def by_rule(stops: Iterable[Stop], rules: Sequence[ReasonRule]) -> list[Stop]:
    """The stops, each with the reason of the first rule that it meets; without one it keeps what it has."""
    return [_ruled(stop, rules) for stop in stops]


def _ruled(stop: Stop, rules: Sequence[ReasonRule]) -> Stop:
    first = next((rule for rule in rules if rule.fits(stop)), None)
    return stop if first is None else replace(stop, reason=first.reason, reason_by=BY_RULE)


def stop_of(entry: Entry, stops: Sequence[Stop]) -> Stop | None:
    """The stop that an entry is about: the one that it overlaps most, the earliest of equals; None without any.

    ``stops`` of the entry's machine, in time order, whole and of all the time that the entry is about.
    """
    first = bisect_right(stops, entry.start_us, key=lambda s: s.end_us)
    near = stops[first : bisect_left(stops, entry.end_us, key=lambda s: s.start_us)]
    return max(near, key=lambda s: min(s.end_us, entry.end_us) - max(s.start_us, entry.start_us), default=None)


def given(stops: Sequence[Stop], entries: Iterable[Entry]) -> dict[int, Entry]:
    """The entry that holds for a stop, by the stop's start: the last one entered about it that was not undone.

    ``stops`` as for ``stop_of``.
    """
    found: dict[int, Entry] = {}
    for entry in standing(entries):
        stop = stop_of(entry, stops)
        if stop is not None:
            found[stop.start_us] = entry
    return found


def by_person(stops: Iterable[Stop], whole: Sequence[Stop], told: Mapping[int, Entry]) -> list[Stop]:
    """The stops with the reasons ``told`` by people, by the start of the ``whole`` stop that each is part of."""
    if not told:
        return list(stops)
    starts = [stop.start_us for stop in whole]
    found = []
    for stop in stops:
        place = bisect_right(starts, stop.start_us) - 1
        entry = told.get(starts[place]) if place >= 0 else None
        if entry is not None and isinstance(entry.said, StopReason):
            stop = replace(stop, reason=entry.said.reason, reason_by=BY_PERSON)
        found.append(stop)
    return found
