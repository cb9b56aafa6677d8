"""One machine's interpreter: ordered readings in, facts out.

House rules: values change at instants; everything of one instant is stored first and settled once, when a
later instant comes or the ordered readings end (what is released is always whole instants). So the order
within an instant does not matter, and neither does the slicing; only a link event divides its instant into
what came before it and what came after. Sums are only ever advanced at instants, never at the watermark: what
is shown as open is a look ahead that changes nothing.

When the link is lost, the state of just before is kept beside the present one; where what happened since is read
from the server's history, it is gone back to, and the loss has never been.
"""

from __future__ import annotations

import json
from itertools import groupby
from math import isfinite
from operator import itemgetter
from typing import Any

from swarfline.facts import UNOBSERVED, Condition, Fact, Gap
from swarfline.interpret.alarms import Alarms
from swarfline.interpret.conditions import Conditions, classify
from swarfline.interpret.counts import Counts
from swarfline.interpret.cycles import Cycles, Edge, Steps
from swarfline.interpret.energy import EnergyMeter
from swarfline.interpret.numbers import number_of
from swarfline.interpret.order import NEVER, Order, Ordered
from swarfline.interpret.pot import tool_name
from swarfline.interpret.record import CycleRecord
from swarfline.interpret.settings import MachineSettings
from swarfline.interpret.steps import STEP_INDEX, StepRule
from swarfline.interpret.tools import Tools
from swarfline.signals import (
    LINK,
    LINK_BACK,
    LINK_CAUGHT_UP,
    LINK_LOST,
    LINK_RESTORED,
    SIGNALS,
    TOOL_FIELDS,
    Kind,
    Quality,
    Value,
    split_tool_signal,
    tool_signal,
)

_BAD = int(Quality.BAD)
_CONDITION, _STEP, _COUNT, _ALARM, _POWER, _ENERGY, _LABEL, _TOOL, _TOLD = (1 << n for n in range(9))
_TOUCHES = {
    "state": _CONDITION, "executing": _CONDITION, "mode": _CONDITION, "feed_hold": _CONDITION,
    "program_state": _CONDITION, "feed_override": _CONDITION, "alarm": _CONDITION | _ALARM,
    "alarm_code": _ALARM, "alarm_text": _ALARM, "active_tool": _STEP, "tool_changing": _STEP,
    "positioning": _STEP, "spindle_speed": _STEP, "spindle_load": _STEP, "power": _POWER, "energy": _ENERGY,
    "program": _LABEL, "part": _LABEL, "lot": _LABEL,
}  # fmt: skip
"""What a signal touches; the others are counters, tools, the link, or only kept."""

_KEPT = ("program", "part", "lot")
"""What is still taken to hold after a loss, until it is told again."""

_NEVER_TOLD = object()


def _is_no_number(value: object) -> bool:
    return value.__class__ is float and not isfinite(value)


def _tool_field(signal: str) -> tuple[str, str, bool] | None:
    """(pot, field, whether it is a number) of a tool's signal, None for any other."""
    parts = split_tool_signal(signal)
    return None if parts is None else (*parts, TOOL_FIELDS[parts[1]].kind is Kind.NUMBER)


class MachineFold:
    """Interpretation of one machine; see the module's house rules."""

    def __init__(self, settings: MachineSettings) -> None:
        self.settings = settings
        offered, machine = settings.signals, settings.machine
        by_counter = "energy" in offered
        self.order = Order(settings, self._heed)
        self.values: dict[str, object] = {}
        self._mode_offered = "mode" in offered
        self._rule = StepRule.of(offered, settings.cutting_load_pct)
        self._conditions = Conditions(machine)
        self._cycles = Cycles(machine, settings.cycle_bounds, keeps=by_counter)
        self._counts = Counts(settings)
        self._tools = Tools(machine)
        self._alarms = Alarms(machine)
        self._energy = EnergyMeter(machine, by_counter, settings.widths.get("energy", 64))
        self._tool_signals: dict[str, tuple[str, str, bool] | None] = {}
        self._linked: bool | None = None
        self._lost_us: int | None = None
        self._before: dict[str, Any] | None = None
        self._retracted: list[Fact] = []
        self._dirty = 0
        self._edges: list[Edge] = []
        self._steps: Steps | None = None
        self._facts: list[Fact] = []

    def take(self, ordered: list[Ordered]) -> list[Fact]:
        """Apply ordered readings, whole instants of them; the facts that became final."""
        instant, values = 0, self.values
        edged = "program_state" if self._cycles.bounds == "program_state" else None
        for moment, _, signal, value, quality, raw_us in ordered:
            if moment != instant:
                if self._dirty:
                    self._settle(instant)
                instant = moment
            if quality == _BAD or (value.__class__ is float and not isfinite(value)):
                value = None
            touches = _TOUCHES.get(signal)
            if touches is None:
                self._take_rare(moment, signal, value, raw_us)
            elif touches == _ENERGY or value != values.get(signal, _NEVER_TOLD):
                values[signal] = value
                self._dirty |= touches
                if signal == edged and value is not None:
                    self._edges.append((value, raw_us))
        if self._dirty:
            self._settle(instant)
        facts, self._facts = self._facts, []
        return facts

    def _take_rare(self, at_us: int, signal: str, value: object, raw_us: int) -> None:
        if signal == LINK:
            self._take_link(at_us, value)
        elif signal in self._counts.counters:
            self._take_count(at_us, signal, value, raw_us)
        else:
            if signal not in self._tool_signals:
                self._tool_signals[signal] = _tool_field(signal)
            tool = self._tool_signals[signal]
            if tool is not None:
                key, field, is_number = tool
                self._tools.due.setdefault(key, {})[field] = number_of(value) if is_number else value
                self._dirty |= _TOOL
            else:
                self.values[signal] = value
                self._dirty |= _TOLD

    def _take_count(self, at_us: int, signal: str, value: object, raw_us: int) -> None:
        added, seen = self._counts.take(signal, value, self._linked is not False, at_us)
        self._dirty |= _COUNT if added else _TOLD
        if added and signal == "cycle_count" and self._cycles.bounds == "program_state":
            before, in_sight = self._steps or (0, True)
            self._steps = (before + int(added), in_sight and seen)
            self._dirty |= _CONDITION
        if added and signal == self._cycles.bounds:
            self._edges.append((seen and (added == 1 or signal != "cycle_count"), raw_us))
            self._dirty |= _CONDITION

    # -- the link ------------------------------------------------------------------------------------------

    def _take_link(self, at_us: int, event: object) -> None:
        if event not in (LINK_LOST, LINK_BACK):
            return
        if self._dirty:
            self._settle(at_us)
        if self._linked:
            self._lose(at_us)
        self._forget()
        self._linked = event == LINK_BACK
        if self._linked:
            self._return(at_us)

    def _lose(self, at_us: int) -> None:
        self._lost_us = at_us
        cycles = self._cycles
        self._facts += self._energy.advance(at_us, cycles)
        cycles.lose(at_us)
        self._facts += self._energy.lose(at_us, cycles)
        self._facts += self._alarms.end(at_us)
        self._turn_condition(UNOBSERVED, at_us)
        self._tell_cycles()
        self._counts.lose()
        self._tools.lose()

    def _forget(self) -> None:
        """Out of sight nothing is known but what is being made."""
        known = {name: value for name, value in self.values.items() if name in _KEPT}
        self.values.clear()
        self.values.update(known)

    def _return(self, at_us: int) -> None:
        self._dirty |= _CONDITION
        if self._lost_us is not None and at_us > self._lost_us:
            self._facts.append(Gap(self.settings.machine, self._lost_us, at_us, "connection"))
        self._lost_us = None

    # -- a loss undone -------------------------------------------------------------------------------------

    def _heed(self, event: Value) -> Value:
        """The link says something just now, whenever it is settled; what is to take its place in the order."""
        if event == LINK_LOST and not self._is_away():
            # through text, as a checkpoint goes, so that nothing is shared with what goes on changing
            self._before = json.loads(json.dumps(self.save()))
        elif event == LINK_BACK:
            self._before = None
        elif event == LINK_CAUGHT_UP:
            self.order.known = None
            return None
        elif event == LINK_RESTORED:
            if self._before is None:
                return LINK_BACK
            self._go_back(self._before)
            return None
        return event

    def _is_away(self) -> bool:
        """Whether the link is lost, by all that has arrived."""
        said = [item for item in self.order.pending if item[2] == LINK and item[3] in (LINK_LOST, LINK_BACK)]
        last = max(said, key=itemgetter(1), default=None)
        return self._linked is False if last is None else last[3] == LINK_LOST

    def _go_back(self, before: dict[str, Any]) -> None:
        """To the state before the loss; what was told of the loss itself is taken back."""
        machine, lost_us, conditions = self.settings.machine, self._lost_us, self._conditions
        if lost_us is not None:
            self._retracted.append(Gap(machine, lost_us, lost_us))
            if conditions.condition == UNOBSERVED and conditions.start_us == lost_us:
                self._retracted.append(Condition(machine, lost_us, lost_us, UNOBSERVED))
        self.load(before)
        self._before = None
        self._tools.touch_all()
        self.order.expect_repetitions()

    def take_retracted(self) -> list[Fact]:
        """Facts told before that are no more; only their keys count."""
        retracted, self._retracted = self._retracted, []
        return retracted

    # -- one instant ---------------------------------------------------------------------------------------

    def _settle(self, at_us: int) -> None:
        dirty, self._dirty = self._dirty, 0
        if self._linked is None:
            # readings without a connection's history: a stream that simply begins
            self._linked = True
            dirty |= _CONDITION
        if self._linked:
            self._settle_values(at_us, dirty)
        elif dirty & _COUNT:
            self._tell_counts(at_us)
        wake_us = self._tools.wake_us
        if dirty & _TOOL or (wake_us is not None and at_us > wake_us):
            self._settle_tools(at_us)
        if self._edges:
            self._edges = []
        self._steps = None

    def _settle_values(self, at_us: int, dirty: int) -> None:
        cycles = self._cycles
        if dirty & _CONDITION:
            self._settle_condition(at_us)
        if dirty & _POWER and not self._energy.by_counter:
            self._facts += self._energy.power(at_us, self.values.get("power"), cycles)
        if cycles.open is not None:
            if dirty & (_STEP | _CONDITION):
                self._turn_step(at_us, cycles.open)
            if dirty & (_CONDITION | _LABEL):
                self._label(cycles.open)
        if dirty & _COUNT:
            self._tell_counts(at_us)
        if dirty & _ENERGY and self._energy.by_counter:
            self._facts += self._energy.counter(at_us, self.values.get("energy"), cycles)
        if dirty & _ALARM:
            self._conditions.label(self.values)
            self._facts += self._alarms.settle(at_us, self.values)
        if cycles.touched:
            self._tell_cycles()

    def _settle_condition(self, at_us: int) -> None:
        cycles, energy = self._cycles, self._energy
        self._facts += energy.advance(at_us, cycles)
        cycles.settle(at_us, self._edges, self.values, self._mode_offered, self._steps)
        condition = classify(self.values, cycles.open is not None, self._mode_offered)
        self._facts += energy.turn(at_us, condition, cycles)
        self._turn_condition(condition, at_us)

    def _turn_condition(self, condition: str, at_us: int) -> None:
        done = self._conditions.turn(condition, at_us, self.values)
        if done is not None:
            self._facts.append(done)

    def _turn_step(self, at_us: int, cycle: CycleRecord) -> None:
        values = self.values
        condition = self._conditions.condition or UNOBSERVED
        step, tool = STEP_INDEX[self._rule.step(values, condition)], tool_name(values.get("active_tool"))
        if self._rule.changes_by_speed:
            if self._rule.stands(values, condition):
                step = cycle.stand(at_us, step, tool)
            else:
                cycle.standstill = None
        cycle.turn(at_us, step, tool, number_of(values.get("spindle_load")), condition == UNOBSERVED)

    def _label(self, cycle: CycleRecord) -> None:
        """What the cycle makes is as told at its start; what was not told then may be told later."""
        program, part, lot = self._labels()
        cycle.program, cycle.part, cycle.lot = cycle.program or program, cycle.part or part, cycle.lot or lot

    def _labels(self) -> tuple[str, str, str]:
        program = str(self.values.get("program") or "")
        part = self.values.get("part") or self.settings.part_by_program.get(program)
        return program, str(part or self.settings.default_part), str(self.values.get("lot") or "")

    def _tell_counts(self, at_us: int) -> None:
        """Parts counted in this instant; they belong to the cycle that began before it."""
        cycle = self._cycles.at(at_us) if self._linked else None
        _, part, lot = self._labels()
        if cycle is not None:
            part, lot = cycle.part or part, cycle.lot or lot
        facts, made = self._counts.tell(at_us, part, lot)
        self._facts += facts
        if cycle is not None and made:
            cycle.parts += made
            self._cycles.touch(cycle)

    def _settle_tools(self, at_us: int) -> None:
        facts, growth = self._tools.settle(at_us, bool(self._linked))
        self._facts += facts
        cycle = self._cycles.at(at_us)
        if cycle is None or not growth:
            return
        for tool, used in growth:
            cycle.add_life(tool, used)
        self._cycles.touch(cycle)
        self._tell_cycles()

    def _tell_cycles(self) -> None:
        for cycle in self._cycles.take_touched():
            end_us = cycle.end_us or 0
            if cycle.finished and self._counts.by_cycle and not cycle.parts:
                count = self._counts.of_cycle(end_us, cycle.part, cycle.lot)
                cycle.parts = count.quantity
                self._facts.append(count)
            self._facts.append(cycle.fact(end_us))

    # -- what is still open --------------------------------------------------------------------------------

    def open_facts(self) -> list[Fact]:
        """What is still going on, as far as observed; asking changes nothing but which tools are due."""
        until = self.order.observed_us
        facts: list[Fact] = list(self._tools.take_touched(until))
        if self._lost_us is not None and until > self._lost_us:
            facts.append(Gap(self.settings.machine, self._lost_us, until, "connection", open=True))
        cycle, shown_us = self._cycles.open, self._cycles.shown_us
        if cycle is not None and shown_us is not None and until > shown_us:
            facts.append(cycle.fact(until))
        facts += self._energy.current(until)
        running = (self._conditions.current(until), self._alarms.current(until))
        return [*facts, *(fact for fact in running if fact is not None)]

    def signals(self) -> frozenset[str]:
        """The names of all that was told, counters and tools included."""
        counted = (name for name, counter in self._counts.counters.items() if counter.last is not None)
        tools = (tool_signal(key, field) for key, pot in self._tools.pots.items() for field in pot.values)
        return frozenset((*self.values, *counted, *tools))

    def snapshot(self) -> dict[str, object]:
        """The present picture, ahead of the reorder window: what the newest readings say, as plain data.

        ``at_us`` and ``since_us`` are None before the first reading; counters and tools are not among the values.
        """
        values, linked, condition, since_us = self._latest()
        cycle = self._cycles.open if linked else None
        return {
            "machine": self.settings.machine,
            "at_us": None if self.order.newest_us == NEVER else self.order.newest_us,
            "linked": linked,
            "condition": condition,
            "since_us": since_us,
            "values": values if linked else {},
            "cycle": None
            if cycle is None
            else {
                "start_us": cycle.start_us, "program": cycle.program, "part": cycle.part, "lot": cycle.lot,
            },
        }  # fmt: skip

    def _latest(self) -> tuple[dict[str, object], bool, str, int | None]:
        """Values, link, condition and since when, with what still waits in the reorder window."""
        values, linked = dict(self.values), self._linked
        condition, in_cycle = self._conditions.condition, self._cycles.open is not None
        since_us = None if condition is None else self._conditions.start_us
        pending = sorted(self.order.pending, key=itemgetter(0, 1))
        for moment, instant in groupby(pending, key=itemgetter(0)):
            for _, _, signal, value, quality, _ in instant:
                if signal != LINK:
                    linked = linked is not False
                    if signal in SIGNALS and signal not in self._counts.counters:
                        values[signal] = None if quality == _BAD or _is_no_number(value) else value
                elif value in (LINK_LOST, LINK_BACK):
                    linked = value == LINK_BACK
                    values = {name: values[name] for name in _KEPT if name in values}
            now = classify(values, in_cycle, self._mode_offered) if linked else UNOBSERVED
            if now != condition and linked is not None:
                condition, since_us = now, moment
        return values, bool(linked), condition or UNOBSERVED, since_us

    def save(self) -> dict[str, object]:
        """The whole state as plain data (JSON)."""
        return {
            "order": self.order.save(),
            "values": dict(self.values),
            "link": [self._linked, self._lost_us],
            "before": self._before,
            **{name: part.save() for name, part in self._parts().items()},
        }

    def load(self, state: dict[str, Any]) -> None:
        """The reverse of save."""
        self.order.load(state["order"])
        self.values = dict(state["values"])
        self._linked, self._lost_us = state["link"]
        self._before = state.get("before")
        for name, part in self._parts().items():
            part.load(state[name])

    def _parts(self) -> dict[str, Conditions | Cycles | Counts | Tools | Alarms | EnergyMeter]:
        return {
            "conditions": self._conditions, "cycles": self._cycles, "counts": self._counts,
            "tools": self._tools, "alarms": self._alarms, "energy": self._energy,
        }  # fmt: skip
