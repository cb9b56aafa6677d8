"""The state of a machine while its future is worked out; what cycles and pauses write to."""

from __future__ import annotations

from random import Random

from swarfline_sim.events import MINUTE_US, Out, Value, micros
from swarfline_sim.faults import Fault, Range
from swarfline_sim.ledger import WH, Record
from swarfline_sim.planning import ATTENDED, BREAK, next_attended
from swarfline_sim.program import PlannedProgram, life_per_cycle, plan_program
from swarfline_sim.spec import MachineSpec
from swarfline_sim.wear import Life, describe, tool_signal


class Bench:
    """One machine at the moment ``t_us`` up to which its future is known."""

    def __init__(self, spec: MachineSpec, seed: int, start_us: int) -> None:
        self.spec = spec
        self.rng = Random(f"{seed}/{spec.name}")
        self.out = Out(spec.name)
        self.start_us = self.t_us = start_us
        self.records: list[tuple[int, Record]] = []
        self.planned: dict[str, PlannedProgram] = {
            part: plan_program(program, spec.kinematics) for part, program in spec.programs.items()
        }
        bases = {tool.pot: tool.basis for tool in spec.magazine}
        self.needs = {part: life_per_cycle(plan, bases) for part, plan in self.planned.items()}
        self.lives = {tool.pot: self._first_life(tool.pot) for tool in spec.magazine}
        self.pots: dict[Value, int] = {tool.number: tool.pot for tool in spec.magazine}
        self.lot_index = 0
        self.lot_left = max(1, round(spec.lots[0][1] * self.rng.uniform(0.3, 1.0)))
        self.counts = {"part_count": spec.first_part_count, "good_count": spec.first_part_count, "scrap_count": 0}
        self._power_w = 0
        self._power_us = start_us
        self._energy_wus = spec.first_energy_wh * WH
        self.cold = False
        self._describe()

    def _first_life(self, pot: int) -> Life:
        spec = next(tool for tool in self.spec.magazine if tool.pot == pot)
        return Life(spec, self.start_us, spec.limit * self.rng.uniform(0.05, 0.75))

    def _describe(self) -> None:
        """The full set of values at the start."""
        part = self.spec.lots[0][0]
        first_tool = self.tool_number(self.planned[part].steps[0].pot)
        start: dict[str, Value] = {
            "state": "not_executing",
            "mode": "automatic",
            "program": self.planned[part].program.name,
            "program_state": "ended",
            **self.counts,
            "part": part,
            "active_tool": first_tool,
            **dict.fromkeys(("tool_changing", "positioning", "feed_hold", "warm_up", "alarm"), False),
            "spindle_speed": 0,
            "spindle_load": 0.0,
            "feed_override": 100,
            "alarm_code": "",
            "alarm_text": "",
        }
        for signal, value in start.items():
            self.put(signal, value)
        self.tell_lot()
        self.power(self.spec.levels.ready_w)
        for pot, life in self.lives.items():
            for field, value in describe(life):
                self.put(tool_signal(pot, field), value)

    @property
    def part(self) -> str:
        """The part number that is being made."""
        return self.spec.lots[self.lot_index % len(self.spec.lots)][0]

    @property
    def program(self) -> PlannedProgram:
        """The program that is being run."""
        return self.planned[self.part]

    @property
    def lot(self) -> str:
        """Name of the lot that is being made."""
        return f"L-{self.spec.first_lot + self.lot_index}"

    def tool_number(self, pot: int) -> int:
        """Number of the tool that belongs into a pot."""
        return self.lives[pot].spec.number

    def put(self, signal: str, value: Value) -> None:
        """A signal changes now."""
        self.out.put(self.t_us, signal, value)

    def tell_lot(self) -> None:
        """Lot name and quantity, as they are now."""
        self.put("lot", self.lot)
        self.put("lot_size", self.spec.lots[self.lot_index % len(self.spec.lots)][1])

    def tell_life(self, pot: int) -> None:
        """Life and lock of the tool in a pot, as they are now."""
        life = self.lives[pot]
        field, value = life.shown()
        self.put(tool_signal(pot, field), value)
        self.put(tool_signal(pot, "locked"), life.locked)

    def power(self, watts: int) -> None:
        """The machine draws this much from now on."""
        self._energy_wus += self._power_w * (self.t_us - self._power_us)
        self._power_w, self._power_us = watts, self.t_us
        self.put("power", float(watts))

    def energy_wus(self) -> int:
        """The energy counter now, in W·µs."""
        return self._energy_wus + self._power_w * (self.t_us - self._power_us)

    def rest(self) -> None:
        """Not executing, spindle stopped, ready."""
        self.put("state", "not_executing")
        self.put("spindle_load", 0.0)
        self.put("spindle_speed", 0)
        self.power(self.spec.levels.ready_w)

    def spend(self, seconds: float) -> None:
        """Time passes."""
        self.t_us += micros(seconds)

    def spend_between(self, limits: tuple[float, float]) -> None:
        """Time passes, evenly drawn between two limits in s."""
        self.spend(self.rng.uniform(*limits))

    def raise_alarm(self, fault: Fault) -> None:
        """An alarm becomes active now."""
        self.put("alarm_code", fault.code)
        self.put("alarm_text", fault.text)
        self.put("alarm", True)

    def clear_alarm(self) -> None:
        """The alarm is gone now."""
        self.put("alarm", False)
        self.put("alarm_code", "")
        self.put("alarm_text", "")

    def attended(self) -> bool:
        """Somebody is at the machine now."""
        return self.spec.plan.at(self.t_us).kind in (ATTENDED, BREAK)

    def await_person(self) -> None:
        """Time passes until somebody is there."""
        came_us = next_attended(self.spec.plan, self.t_us)
        if came_us > self.t_us:
            self.t_us = came_us + micros(self.rng.uniform(1, 8) * MINUTE_US / 1e6)

    def repair(self, length: Range) -> None:
        """Time passes until a fault is mended; some clear themselves while nobody is there."""
        if not self.attended() and self.rng.random() > self.spec.habits.self_cleared:
            self.await_person()
        self.spend(length.draw(self.rng))
