"""The page of a single cycle: where its time went by step and tool, against the usual one; what was around it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated

from fastapi import APIRouter, Query, Request
from starlette.responses import Response

from swarfline.calendar import Interval, intersect, subtract, total
from swarfline.facts import (
    CUTTING,
    HELD,
    OTHER,
    POSITIONING,
    PRODUCING,
    STEPS,
    TOOL_CHANGE,
    UNOBSERVED,
    WAITING,
    Alarm,
    Condition,
    Cycle,
    Gap,
    ToolLife,
    ToolUse,
)
from swarfline.grounds import BY_SPEED, step_grounds, steps_known
from swarfline.measure.energy import JOULES_PER_KWH
from swarfline.measure.planned import MeasuredCycle, measured_cycle
from swarfline.plant import Machine
from swarfline.sentence import N_, Sentence
from swarfline.serve.page import cycle_words, words
from swarfline.serve.page.choosing import moment
from swarfline.serve.page.cycles import cycle_address
from swarfline.serve.page.pages import pages_of
from swarfline.serve.page.plots import boxes
from swarfline.serve.page.ribbon import ribbon, ticks
from swarfline.serve.problems import RefusedError, wrong
from swarfline.serve.room import InRoom, OneMachine, Room
from swarfline.serve.tongue import gettext as _

router = APIRouter()

USUAL = 200
"""So many complete cycles of the program before this one say what is usual."""

AROUND_US = 15 * 60_000_000
LONG_US = 60_000_000
"""Waits shorter than that are told only next to the cycle."""
FAR_US = 400 * 86_400_000_000
"""The next cycle is looked for so far ahead at most."""

LEVEL = {
    CUTTING: (0, 24),
    TOOL_CHANGE: (5, 24),
    POSITIONING: (10, 24),
    OTHER: (17, 24),
    HELD: (0, 24),
    UNOBSERVED: (11, 13),
}
"""Top and bottom of each step in strips, so that they read without colours too; hatches tell more."""


@dataclass(frozen=True, slots=True)
class StepLine:
    """A step: where it lies in the cycle (a path), and how long it took, usually too; None: cannot be told."""

    step: str
    path: str
    length_s: float | None
    share: float | None
    usual_s: float | None
    change_s: float | None


@dataclass(frozen=True, slots=True)
class ToolLine:
    """A tool: when it sat in the spindle (a path), what it did; None: cannot be told. ``use`` None: not used."""

    tool: str
    use: ToolUse | None
    path: str
    in_spindle_s: float
    cutting_s: float | None
    usual_s: float | None
    change_s: float | None


@dataclass(frozen=True, slots=True)
class Event:
    """Something near the cycle; ``condition`` is empty where it is none."""

    start_us: int
    at: str
    length: str
    what: str
    inside: bool
    condition: str = ""


@router.get("/machines/{machine_id}/cycles/at")
def cycle_page(
    request: Request, machine: OneMachine, room: InRoom, start: Annotated[str | None, Query()] = None
) -> Response:
    """The cycle that ran at a time."""
    if not start:
        raise wrong("start", N_("is missing"), N_("the start of a cycle, or a time in it"))
    at_us = moment("start", start, room)
    # one that began at that moment goes before one that ended there
    found = room.queries.facts(Cycle, machine.id, at_us, at_us + 1)
    if not found:
        raise RefusedError(
            404,
            Sentence(
                N_("Machine {id} ran no cycle at {value} that is on record."),
                {"id": repr(machine.id), "value": start[:40]},
            ),
        )
    return pages_of(request.app).answer(
        "cycle.html", cycle_words=cycle_words, view=_View(room, machine, found[-1])
    )


class _View:
    """What the page shows of one cycle."""

    def __init__(self, room: Room, machine: Machine, cycle: Cycle) -> None:
        self.room, self.machine, self.cycle = room, machine, cycle
        self.span: Interval = (cycle.start_us, cycle.end_us)
        nodes = room.plant.nodes_of(machine)
        self.known = steps_known(nodes)
        self.by_speed = step_grounds(nodes) == BY_SPEED
        before = room.queries.last_cycles(machine.id, USUAL, cycle.start_us, cycle.program)
        self.usual: MeasuredCycle = measured_cycle(c for c in before if c.part == cycle.part)
        self.around: Interval = (cycle.start_us - AROUND_US, cycle.end_us + AROUND_US)
        self.conditions = room.queries.facts(Condition, machine.id, *self.around)
        unseen = [(c.start_us, c.end_us) for c in self.conditions if c.condition == UNOBSERVED]
        self.dark = intersect(unseen, [self.span])

    @property
    def title(self) -> str:
        """When the cycle began."""
        return words.moment(self.cycle.start_us, self.room.zone)

    @property
    def ended(self) -> str:
        """When it ended, or how far it was seen."""
        return words.moment(self.cycle.end_us, self.room.zone)

    @property
    def length_s(self) -> float:
        """From start to end."""
        return self.cycle.duration_us / 1e6

    @property
    def usual_s(self) -> float | None:
        """The usual length."""
        return None if self.usual.all_us is None else self.usual.all_us / 1e6

    @property
    def change_s(self) -> float | None:
        """This one less the usual one; None while it runs."""
        return None if self.usual_s is None or self.cycle.open else self.length_s - self.usual_s

    @property
    def planned_s(self) -> float | None:
        """The planned length."""
        plan = self.room.plans.get(self.cycle.part)
        return plan.planned_cycle_us / 1e6 if plan else None

    @property
    def energy(self) -> tuple[str, str]:
        """kWh of this cycle and of the usual one."""
        return _kwh(self.cycle.energy_j), _kwh(self.usual.energy_j)

    @property
    def scale(self) -> list[str]:
        """Times in the cycle at the quarters of the strip."""
        return [words.seconds(self.length_s * n / 4, 0) for n in range(5)]

    def _pieces(self) -> list[tuple[Interval, str, str]]:
        """Span, step and tool of each piece of the strip."""
        starts = [self.cycle.start_us + p.offset_us for p in self.cycle.strip]
        ends = [*starts[1:], self.cycle.end_us]
        return [((a, b), p.step, p.tool) for a, b, p in zip(starts, ends, self.cycle.strip, strict=False) if a < b]

    def step_lines(self) -> list[StepLine]:
        """The steps in their order; what nobody saw is taken out of the step other."""
        pieces = self._pieces()
        spans = {s: [span for span, step, _tool in pieces if step == s] for s in STEPS}
        if self.cycle.unobserved_us:
            spans[OTHER] = subtract(spans[OTHER], self.dark)
        spans[UNOBSERVED] = self.dark
        return [self._step(step, spans[step]) for step in LEVEL if step in self.known or spans[step]]

    def _step(self, step: str, spans: Sequence[Interval]) -> StepLine:
        length_us, usual_us = self._length(step), self.usual.step_us.get(step)
        path = boxes(spans, self.span, *LEVEL[step])
        if step not in (*self.known, UNOBSERVED):
            return StepLine(step, path, None, None, None, None)
        if step in (HELD, UNOBSERVED) and self.usual.count:
            usual_us = 0.0  # usual cycles are those without
        change = None if usual_us is None or self.cycle.open else (length_us - usual_us) / 1e6
        share = length_us / max(1, self.cycle.duration_us)
        usual_s = None if usual_us is None else usual_us / 1e6
        return StepLine(step, path, length_us / 1e6, share, usual_s, change)

    def _length(self, step: str) -> int:
        if step == UNOBSERVED:
            return self.cycle.unobserved_us
        told = self.cycle.step_us[STEPS.index(step)]
        return told - self.cycle.unobserved_us if step == OTHER else told

    def tool_lines(self) -> list[ToolLine]:
        """The tools in the order of their first use, then those that the usual cycle uses and this one did not."""
        used = sorted(self.cycle.tools, key=lambda u: u.order)
        missed = [t for t, us in self.usual.in_spindle_us.items() if us and t not in {u.tool for u in used}]
        return [*(self._tool(u.tool, u) for u in used), *(self._tool(t, None) for t in missed)]

    def _tool(self, name: str, use: ToolUse | None) -> ToolLine:
        spans = [span for span, _step, tool in self._pieces() if tool == name]
        taken = (use.in_spindle_us if use else total(spans)) / 1e6
        usual = self.usual.in_spindle_us.get(name, 0.0 if self.usual.count else None)
        usual_s = None if usual is None else usual / 1e6
        cutting = use.cutting_us / 1e6 if use and "cutting" in self.known else None
        change = None if usual_s is None or self.cycle.open else taken - usual_s
        return ToolLine(name, use, ticks(spans, self.span), taken, cutting, usual_s, change)

    @property
    def band(self) -> dict[str, str]:
        """The conditions around the cycle as a ribbon."""
        return ribbon(self.conditions, self.around, min(self.around[1], self.room.now_us()))

    @property
    def here(self) -> str:
        """Where the cycle lies in that ribbon."""
        return ticks([self.span], self.around)

    @property
    def edges(self) -> tuple[str, str]:
        """The ends of the ribbon."""
        zone = self.room.zone
        return words.clock(self.around[0], zone), words.clock(self.around[1], zone)

    def events(self) -> list[Event]:
        """Conditions, alarms, gaps and ended tool lives near the cycle, in time order."""
        name, queries = self.machine.id, self.room.queries
        found = [self._event(c, _condition_words(c), c.condition) for c in self.conditions if self._worth(c)]
        for alarm in queries.facts(Alarm, name, *self.around):
            found.append(self._event(alarm, _("alarm %s") % f"{alarm.code} {alarm.text}".strip()))
        for gap in queries.facts(Gap, name, *self.around):
            found.append(self._event(gap, _("gap: %s") % words.gap(gap.reason)))
        for life in queries.facts(ToolLife, name, *self.around):
            if not life.open and self.around[0] <= life.end_us < self.around[1]:
                what = _("tool life of %s ended") % f"{cycle_words.tool(life.tool)} {life.name}".strip()
                found.append(self._at(life.end_us, f"{what}: {words.life_end(life.reason)}"))
        return sorted(found, key=lambda e: e.start_us)

    def _worth(self, fact: Condition) -> bool:
        """Producing and short waits are what is usual; the waits next to the cycle are told all the same."""
        if fact.condition == WAITING:
            next_to_it = fact.end_us == self.span[0] or fact.start_us == self.span[1]
            return next_to_it or fact.end_us - fact.start_us >= LONG_US
        return fact.condition != PRODUCING

    def _event(self, fact: Condition | Alarm | Gap, what: str, condition: str = "") -> Event:
        inside = fact.start_us < self.span[1] and fact.end_us > self.span[0]
        length = words.length(fact.end_us - fact.start_us)
        return Event(fact.start_us, self._clock(fact.start_us), length, what, inside, condition)

    def _at(self, us: int, what: str) -> Event:
        return Event(us, self._clock(us), "", what, self.span[0] <= us < self.span[1])

    def _clock(self, us: int) -> str:
        return words.moment(us, self.room.zone)

    def neighbours(self) -> tuple[tuple[str, str] | None, tuple[str, str] | None]:
        """Address of, and time to, the cycle before and the one after; None where there is none."""
        name, queries = self.machine.id, self.room.queries
        before = queries.cycle_before(name, self.span[0])
        after = queries.facts(Cycle, name, self.span[1], self.span[1] + FAR_US, 1, self.span[0])
        return (
            (cycle_address(self.room, before), words.length(self.span[0] - before.end_us)) if before else None,
            (cycle_address(self.room, after[0]), words.length(after[0].start_us - self.span[1]))
            if after
            else None,
        )


def _condition_words(fact: Condition) -> str:
    """What a condition's mark and word do not say."""
    return f"{fact.alarm_code} {fact.alarm_text}".strip()


def _kwh(joules: float | None) -> str:
    return words.UNKNOWN if joules is None else f"{words.number(joules / JOULES_PER_KWH, 3)} kWh"
