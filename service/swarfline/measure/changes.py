"""Plan of tool changes: the fewest stops at which to change tools together.

Time is counted in whole cycles from now on; a stop ``t`` is after ``t`` more cycles, before the next one. A tool
that has ``left`` cycles is changed at the latest at stop ``left``, and after a change at ``t`` at the latest at
``t + full``; earlier by as many cycles as it may give up. Between those two lies its window.

A plan is found stop by stop, each as late as the first tool that is due allows. At each stop every tool whose
window is open might be changed or not, so all its windows are kept; which of them to use is settled at the end. As
late as possible is not always best, so a search tries earlier stops, until the plan has as few as it must, or the
search has done enough. What it must have follows from the changes that no tool can do without.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from swarfline.measure.definition import OURS, Definition

ENOUGH = 200_000
"""Changes to come that the search looks at before the best plan so far is taken: well under a second."""

Window = tuple[int, int]
"""First and last stop at which a tool may be changed next."""


@dataclass(frozen=True, slots=True)
class LifeAhead:
    """A tool's cycles left and those of a whole life of its successors; ``full`` is at least 1."""

    left: int
    full: int


@dataclass(frozen=True, slots=True)
class Change:
    """One tool changed at a stop: its place in the list of tools, and the cycles that it could still have run."""

    tool: int
    given_up: int


@dataclass(frozen=True, slots=True)
class Stop:
    """A stop after so many cycles, with the tools to change."""

    cycle: int
    changes: tuple[Change, ...]


@dataclass(frozen=True, slots=True)
class ChangePlan:
    """Stops in order. ``at_least``: no plan has fewer; where that is their number, no other is better."""

    stops: tuple[Stop, ...]
    at_least: int

    @property
    def proven(self) -> bool:
        """Whether it is known that no plan has fewer stops."""
        return len(self.stops) == self.at_least


def plan_changes(tools: Sequence[LifeAhead], horizon: int, most_given_up: Fraction) -> ChangePlan:
    """Fewest stops so that no tool passes its limit within ``horizon`` cycles.

    No change gives up more than the share ``most_given_up`` (0 to 1) of the cycles of a whole life. Of plans with
    as few stops the latest ones are taken first; each tool then gives up as little as it can with these stops.
    """
    early = [int(most_given_up * tool.full) for tool in tools]
    problem = _Problem(tools, early, horizon)
    stops = problem.latest()
    at_least = problem.needed(problem.start)
    while at_least < len(stops):
        better = problem.search(at_least)
        if better is None:
            break
        if better:
            stops = better
            break
        at_least += 1
    return ChangePlan(problem.settle(stops), at_least)


@dataclass(frozen=True, slots=True)
class _State:
    """After a stop (−1: none yet): the windows in which each tool may be changed next, by rising end."""

    stop: int
    windows: tuple[tuple[Window, ...], ...]


class _Problem:
    def __init__(self, tools: Sequence[LifeAhead], early: Sequence[int], horizon: int) -> None:
        self.tools = tools
        self.horizon = horizon
        self._early = early
        self.start = _State(-1, tuple(((max(0, t.left - e), t.left),) for t, e in zip(tools, early, strict=True)))
        self._looked = 0
        self._dead: dict[_State, int] = {}

    def due(self, state: _State) -> int | None:
        """The stop by which a tool has to be changed; None when all last to the horizon."""
        ends = [windows[-1][1] for windows in state.windows]
        return min((end for end in ends if end < self.horizon), default=None)

    def after(self, state: _State, stop: int) -> _State:
        """The windows after one more stop."""
        return _State(stop, tuple(self._moved(i, known, stop) for i, known in enumerate(state.windows)))

    def _moved(self, tool: int, known: tuple[Window, ...], stop: int) -> tuple[Window, ...]:
        alive = tuple(window for window in known if window[1] > stop)
        if any(first <= stop <= last for first, last in known):
            end = stop + self.tools[tool].full
            return (*alive, (end - self._early[tool], end))
        return alive

    def latest(self) -> list[int]:
        """Stops each of which is as late as it can be."""
        state, stops = self.start, []
        while (stop := self.due(state)) is not None:
            stops.append(stop)
            state = self.after(state, stop)
        return stops

    def needed(self, state: _State) -> int:
        """Stops that no plan can do without from here on.

        Each tool's k-th change to come lies between the earliest and the latest that it can be; points that hit
        all of these spans are at least so many.
        """
        spans: list[Window] = []
        most = 0
        for tool, early, windows in zip(self.tools, self._early, state.windows, strict=True):
            first, last, count = windows[0][0], windows[-1][1], 0
            while last < self.horizon:
                spans.append((first, last))
                first, last, count = first + tool.full - early, last + tool.full, count + 1
            most = max(most, count)
        self._looked += len(state.windows) + len(spans)
        spans.sort(key=lambda span: span[1])
        points, at = 0, -1
        for first, last in spans:
            if first > at:
                points, at = points + 1, last
        return max(points, most)

    def search(self, count: int) -> list[int] | None:
        """Stops of a plan with at most ``count`` of them; empty: there is none, None: not settled."""
        found = self._from(self.start, count)
        return None if found is None and self._looked > ENOUGH else found or []

    def _from(self, state: _State, count: int) -> list[int] | None:
        due = self.due(state)
        if due is None:
            return []
        if self._looked > ENOUGH or self._dead.get(state, -1) >= count or self.needed(state) > count:
            return None
        for stop in range(due, state.stop, -1):
            rest = self._from(self.after(state, stop), count - 1)
            if rest is not None:
                return [stop, *rest]
            if self._looked > ENOUGH:
                return None
        self._dead[state] = count
        return None

    def settle(self, stops: Sequence[int]) -> tuple[Stop, ...]:
        """Which tools to change at which of these stops: for each the fewest changes, then the least given up."""
        changes: dict[int, list[Change]] = {stop: [] for stop in stops}
        for tool in range(len(self.tools)):
            for stop, given_up in self._chain(tool, stops):
                changes[stop].append(Change(tool, given_up))
        return tuple(Stop(stop, tuple(changes[stop])) for stop in stops if changes[stop])

    def _chain(self, tool: int, stops: Sequence[int]) -> list[tuple[int, int]]:
        """Stops at which one tool is changed, with the cycles that it gives up there."""
        life, early = self.tools[tool], self._early[tool]
        if life.left >= self.horizon:
            return []
        ways: list[tuple[int, int, int, list[tuple[int, int]]]] = [(0, 0, life.left, [])]
        done: list[tuple[int, int, list[tuple[int, int]]]] = []
        for stop in stops:
            open_ways = [way for way in ways if way[2] - early <= stop <= way[2]]
            if not open_ways:
                continue
            count, lost, end, way = min(open_ways, key=lambda w: (w[0], w[1] + w[2] - stop))
            step = (count + 1, lost + end - stop, stop + life.full, [*way, (stop, end - stop)])
            ways.append(step)
            if step[2] >= self.horizon:
                done.append((step[0], step[1], step[3]))
        return min(done)[2]


FIGURES = (
    Definition("given_up", "cycles left at the change ÷ cycles of a whole life", "1", "life thrown away", OURS),
    Definition(
        "stops_needed", "fewest stops that every plan has", "1", "what a plan of changes is held against", OURS
    ),
)
