"""One machine's interpreter: ordered readings in, facts out.

House rules: values change at instants; everything of one instant is stored first and settled once, when a
later instant comes or the watermark passes. So the order within an instant does not matter, and neither does
the slicing. Sums are only ever advanced at instants, never at the watermark: what is shown as open is a look
ahead that changes nothing.
"""

from __future__ import annotations

from swarfline.facts import GOOD, SCRAP, TOTAL, UNOBSERVED, Count, Fact, Gap
from swarfline.interpret.alarms import Alarms
from swarfline.interpret.conditions import Conditions, classify
from swarfline.interpret.counts import Counter
from swarfline.interpret.cycles import Cycles, Edge
from swarfline.interpret.energy import EnergyMeter
from swarfline.interpret.order import Order, Ordered
from swarfline.interpret.settings import MachineSettings
from swarfline.interpret.steps import STEP_INDEX, step_now
from swarfline.interpret.tools import Tools
from swarfline.signals import LINK, LINK_BACK, LINK_LOST, Quality, split_tool_signal

_BAD = int(Quality.BAD)
_CONDITION, _STEP, _COUNT, _ALARM, _POWER, _ENERGY = 1, 2, 4, 8, 16, 32
_TOUCHES = {
    "state": _CONDITION, "executing": _CONDITION, "mode": _CONDITION, "feed_hold": _CONDITION,
    "program_state": _CONDITION, "feed_override": _CONDITION, "alarm": _CONDITION | _ALARM,
    "alarm_code": _ALARM, "alarm_text": _ALARM, "active_tool": _STEP, "tool_changing": _STEP,
    "positioning": _STEP, "spindle_speed": _STEP, "spindle_load": _STEP, "power": _POWER, "energy": _ENERGY,
}  # fmt: skip
_COUNTERS = {"part_count": TOTAL, "good_count": GOOD, "scrap_count": SCRAP}


class MachineFold:
    """Interpretation of one machine; see the module's house rules."""

    def __init__(self, settings: MachineSettings) -> None:
        self.settings = settings
        offered = settings.signals
        self.order = Order(settings)
        self.values: dict[str, object] = {}
        self._mode_offered = "mode" in offered
        self._conditions = Conditions(settings.machine)
        self._cycles = Cycles(settings.machine, settings.cycle_bounds)
        self._tools = Tools(settings.machine)
        self._alarms = Alarms(settings.machine)
        self._energy = EnergyMeter(settings.machine, "energy" in offered, settings.widths.get("energy", 64))
        self._counters = {
            name: Counter(settings.widths.get(name, 32)) for name in (*_COUNTERS, "cycle_count") if name in offered
        }
        self._linked: bool | None = None
        self._lost_us: int | None = None
        self._gap_counts = False
        self._instant_us: int | None = None
        self._dirty = 0
        self._edges: list[Edge] = []
        self._counted: dict[str, float] = {}
        self._link_events: list[object] = []
        self._facts: list[Fact] = []

    def take(self, ordered: list[Ordered]) -> list[Fact]:
        """Apply ordered readings, all before the watermark; the facts that became final."""
        instant = self._instant_us
        values = self.values
        for item in ordered:
            moment, _, signal, value, quality, raw_us = item
            if moment != instant:
                if instant is not None:
                    self._settle(instant)
                self._instant_us = instant = moment
            if quality == _BAD:
                value = None
            touches = _TOUCHES.get(signal)
            if touches is not None:
                if touches == _POWER and value == values.get(signal) and signal in values:
                    continue
                values[signal] = value
                self._dirty |= touches
                if signal == "program_state" and self._cycles.bounds == signal and value is not None:
                    self._edges.append((signal, value, raw_us))
            else:
                self._apply_rare(signal, value, raw_us)
        if instant is not None and instant < self.order.watermark_us:
            self._settle(instant)
            self._instant_us = None
        facts, self._facts = self._facts, []
        return facts

    def _apply_rare(self, signal: str, value: object, raw_us: int) -> None:
        if signal == LINK:
            self._link_events.append(value)
        elif signal in self._counters:
            self._count(signal, value, raw_us)
        else:
            parts = split_tool_signal(signal)
            if parts is not None:
                self._tools.due.setdefault(parts[0], {})[parts[1]] = value
            else:
                self.values[signal] = value

    def _count(self, signal: str, value: object, raw_us: int) -> None:
        added = self._counters[signal].take(value)
        if not added:
            return
        self._counted[signal] = self._counted.get(signal, 0) + added
        self._dirty |= _COUNT
        if signal == self._cycles.bounds and not self._gap_counts:
            self._edges.append((signal, added, raw_us))

    # -- one instant -------------------------------------------------------------------------------------

    def _settle(self, at_us: int) -> None:
        if self._link_events:
            self._settle_link(at_us)
        if self._linked is None:
            # readings without a connection's history: a stream that simply begins
            self._linked = True
            self._dirty |= _CONDITION
        if self._linked and self._dirty:
            self._settle_values(at_us)
        if self._tools.due:
            self._settle_tools(at_us)
        self._dirty = 0
        self._edges = []
        self._counted = {}
        self._gap_counts = False

    def _settle_link(self, at_us: int) -> None:
        events, self._link_events = self._link_events, []
        for event in events:
            if event == LINK_LOST and self._linked is not False:
                self._lose(at_us)
            elif event == LINK_BACK:
                if self._linked is not False:
                    self._lose(at_us)
                self._return(at_us)

    def _lose(self, at_us: int) -> None:
        was_known = self._linked is not None
        self._linked = False
        if not was_known:
            return
        self._lost_us = at_us
        self._cycles.lose(at_us)
        self._tell_cycles()
        self._facts += self._energy.lose(at_us, self._cycles)
        self._facts += self._alarms.end(at_us)
        self._turn_condition(UNOBSERVED, at_us)
        known = {name: self.values.get(name) for name in ("program", "part", "lot")}
        self.values.clear()
        self.values.update({name: value for name, value in known.items() if value is not None})

    def _return(self, at_us: int) -> None:
        self._linked = True
        self._gap_counts = self._lost_us is not None
        self._dirty |= _CONDITION
        if self._lost_us is not None and at_us > self._lost_us:
            self._facts.append(Gap(self.settings.machine, self._lost_us, at_us, "connection"))
        self._lost_us = None

    def _settle_values(self, at_us: int) -> None:
        cycles, dirty = self._cycles, self._dirty
        if self._gap_counts and self._counted:
            self._tell_counts(at_us)
        if dirty & _CONDITION or self._edges:
            self._book_energy_to(at_us)
            cycles.settle(at_us, self._edges, self.values, self._mode_offered)
        condition = self._conditions.condition
        if dirty & _CONDITION:
            condition = classify(self.values, cycles.open is not None, self._mode_offered)
        if condition is not None and (dirty & _CONDITION or self._edges):
            self._facts += self._energy.turn(at_us, condition, cycles)
        if dirty & _POWER and not self._energy.by_counter:
            self._facts += self._energy.power(at_us, self.values.get("power"), cycles)
        if condition is not None and condition != self._conditions.condition:
            self._turn_condition(condition, at_us)
        if cycles.open is not None:
            self._turn_step(at_us)
        if self._counted and not self._gap_counts:
            self._tell_counts(at_us)
        if dirty & _ENERGY and self._energy.by_counter:
            self._facts += self._energy.counter(at_us, self.values.get("energy"), cycles)
        if dirty & _ALARM:
            self._facts += self._alarms.settle(at_us, self.values)
        if cycles.touched:
            self._tell_cycles()

    def _book_energy_to(self, at_us: int) -> None:
        """Energy up to now belongs to the cycle that was open until now."""
        if not self._energy.by_counter and self._conditions.condition is not None:
            self._facts += self._energy.turn(at_us, self._conditions.condition, self._cycles)

    def _turn_condition(self, condition: str, at_us: int) -> None:
        done = self._conditions.turn(condition, at_us, self.values)
        if done is not None:
            self._facts.append(done)

    def _turn_step(self, at_us: int) -> None:
        cycle = self._cycles.open
        assert cycle is not None
        if not cycle.labelled:
            cycle.program, cycle.part, cycle.lot = self._labels()
            cycle.labelled = True
        values = self.values
        condition = self._conditions.condition or UNOBSERVED
        step = STEP_INDEX[step_now(values, condition, self.settings.cutting_load_pct)]
        load = values.get("spindle_load")
        tool = values.get("active_tool")
        cycle.turn(
            at_us,
            step,
            "" if tool in (None, 0, "0") else str(tool),
            float(load) if isinstance(load, int | float) else None,
        )

    def _labels(self) -> tuple[str, str, str]:
        program = str(self.values.get("program") or "")
        part = self.values.get("part") or self.settings.part_by_program.get(program)
        return program, str(part or self.settings.default_part), str(self.values.get("lot") or "")

    # -- counts, tools, cycles ---------------------------------------------------------------------------

    def _tell_counts(self, at_us: int) -> None:
        """Parts counted in this instant; they belong to the cycle that began before it."""
        cycle = None if self._gap_counts else self._cycles.at(at_us)
        _, part, lot = self._labels()
        if cycle is not None and cycle.labelled:
            part, lot = cycle.part, cycle.lot
        told = {_COUNTERS[name]: int(n) for name, n in self._counted.items() if name in _COUNTERS}
        if "part_count" not in self._counters and ("good_count" in self._counters):
            told[TOTAL] = told.get(GOOD, 0) + told.get(SCRAP, 0)
        for kind, quantity in told.items():
            if quantity:
                self._facts.append(
                    Count(self.settings.machine, at_us, kind, quantity, part, lot, self._gap_counts)
                )
        if cycle is not None and told.get(TOTAL):
            cycle.parts += told[TOTAL]
            self._cycles.touch(cycle)

    def _settle_tools(self, at_us: int) -> None:
        facts, growth = self._tools.settle(at_us)
        self._facts += facts
        cycle = self._cycles.at(at_us)
        if cycle is None or self._gap_counts:
            return
        for tool, used in growth:
            cycle.add_life(tool, used)
        if growth:
            self._cycles.touch(cycle)
            self._tell_cycles()

    def _tell_cycles(self) -> None:
        for cycle in self._cycles.take_touched():
            if cycle.outcome == "complete" and not self._counts_offered and cycle.parts == 0:
                self._count_by_cycle(cycle.part, cycle.lot, cycle.end_us or 0)
                cycle.parts = self.settings.parts_per_cycle.get(cycle.part, 1)
            self._facts.append(cycle.fact(cycle.end_us or 0))

    @property
    def _counts_offered(self) -> bool:
        return "part_count" in self._counters or "good_count" in self._counters

    def _count_by_cycle(self, part: str, lot: str, at_us: int) -> None:
        quantity = self.settings.parts_per_cycle.get(part, 1)
        self._facts.append(Count(self.settings.machine, at_us, TOTAL, quantity, part, lot))

    # -- what is still open ------------------------------------------------------------------------------

    def open_facts(self) -> list[Fact]:
        """What is still going on, as far as observed; asking changes nothing but which tools are due."""
        until = self.order.watermark_us
        facts: list[Fact] = list(self._tools.take_touched())
        condition = self._conditions.current(until)
        if condition is not None:
            facts.append(condition)
        if self._linked is False and self._lost_us is not None and until > self._lost_us:
            facts.append(Gap(self.settings.machine, self._lost_us, until, "connection", open=True))
        if self._cycles.open is not None and until > self._cycles.open.start_us:
            facts.append(self._cycles.open.fact(until))
        facts += self._energy.current(until) if self._linked else []
        alarm = self._alarms.current(until)
        return [*facts, alarm] if alarm is not None else facts

    def save(self) -> dict[str, object]:
        """The whole state as plain data (JSON)."""
        return {
            "order": self.order.save(),
            "values": self.values,
            "conditions": self._conditions.save(),
            "cycles": self._cycles.save(),
            "tools": self._tools.save(),
            "alarms": self._alarms.save(),
            "energy": self._energy.save(),
            "counters": {name: counter.last for name, counter in self._counters.items()},
            "link": [self._linked, self._lost_us],
            "instant": [
                self._instant_us, self._dirty, self._edges, self._counted, self._link_events, self._gap_counts,
            ],
        }  # fmt: skip

    def load(self, state: dict[str, object]) -> None:
        """The reverse of save; counters that are new since then begin with a baseline."""
        self.order.load(state["order"])  # type: ignore[arg-type]
        self.values = dict(state["values"])  # type: ignore[call-overload]
        for room, key in (
            (self._conditions, "conditions"), (self._cycles, "cycles"), (self._tools, "tools"),
            (self._alarms, "alarms"), (self._energy, "energy"),
        ):  # fmt: skip
            room.load(state[key])  # type: ignore[attr-defined]
        for name, last in state["counters"].items():  # type: ignore[attr-defined]
            if name in self._counters:
                self._counters[name].last = last
        self._linked, self._lost_us = state["link"]  # type: ignore[misc]
        instant = state["instant"]
        self._instant_us, self._dirty, edges, self._counted, self._link_events, self._gap_counts = instant  # type: ignore[misc]
        self._edges = [tuple(edge) for edge in edges]
