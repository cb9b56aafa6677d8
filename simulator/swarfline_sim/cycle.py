"""One cycle of a program: what the machine says while it runs, and the truth about it."""

from __future__ import annotations

from swarfline_sim.bench import Bench
from swarfline_sim.events import seconds
from swarfline_sim.faults import (
    ABORT,
    BREAKAGE,
    BROKEN_TOOL,
    GIVE_UP,
    HOLD,
    IN_CYCLE,
    INTERRUPT,
    OVERRIDE_ZERO,
    Disturbance,
    Fault,
    draw_disturbance,
)
from swarfline_sim.ledger import WH
from swarfline_sim.power import metered_w
from swarfline_sim.program import PlannedCut, PlannedStep

NO_LOAD_PCT = 4.0
"""Share of the rated load that a turning spindle shows in a cut on top of the cut's own power."""


class _Use:
    """What one tool did in the cycle."""

    __slots__ = ("cut_us", "done", "path_m", "seconds_us")

    def __init__(self) -> None:
        self.seconds_us = self.cut_us = 0
        self.path_m = 0.0
        self.done = 0


class Cycle:
    """Runs one cycle on a bench; after ``run`` the bench stands at the cycle's end (or after its fault)."""

    def __init__(self, bench: Bench) -> None:
        self._b = bench
        self._start_us = self._since_us = bench.t_us
        self._energy = bench.energy_wus()
        self._change_us = self._pos_us = self._cut_us = self._held_us = 0
        self._scrap = 0
        self._uses: dict[int, _Use] = {}
        self._trouble: Disturbance | None = draw_disturbance(bench.spec.habits, bench.rng, bench.attended())
        total = sum(cut.cut_us for step in bench.program.steps for cut in step.cuts)
        self._due_us = round(self._trouble.at * total) if self._trouble else -1

    def run(self) -> bool:
        """Work the cycle off; False when it was aborted."""
        b = self._b
        b.put("program_state", "running")
        b.put("state", "executing")
        b.power(b.spec.levels.running_w)
        b.spend(b.spec.kinematics.open_s + b.rng.random() * 0.3)
        for step in b.program.steps:
            if not self._step(step):
                return False
        self._home()
        b.spend(b.spec.kinematics.close_s)
        self._make_parts()
        self._finish("complete", b.program.program.parts_per_cycle)
        b.rest()
        return True

    def _use(self, pot: int) -> _Use:
        if pot not in self._uses:
            self._uses[pot] = _Use()
        return self._uses[pot]

    def _step(self, step: PlannedStep) -> bool:
        b = self._b
        self._load(step.pot, step.cuts[0].position_us)
        b.put("spindle_speed", step.speed_rpm)
        for n, cut in enumerate(step.cuts):
            if n and cut.position_us:
                b.power(b.spec.levels.running_w)
                self._position(cut.position_us)
            b.spend(b.spec.kinematics.approach_s)
            if not self._cut(step, cut):
                return False
        self._use(step.pot).done = 1
        return True

    def _home(self) -> None:
        """Table back, and the first tool back into the spindle."""
        program = self._b.program
        self._load(program.steps[0].pot, program.home_us)

    def _load(self, pot: int, position_us: int) -> None:
        """Bring a pot's tool into the spindle and turn the table, at once where the control can."""
        b = self._b
        number = b.tool_number(pot)
        if b.out.values["active_tool"] == number:
            self._position(position_us)
            return
        change_us = round(b.spec.kinematics.change_s * 1e6)
        start_us = b.t_us
        overlap_us = position_us if b.spec.kinematics.overlaps else 0
        b.put("tool_changing", True)
        b.put("positioning", overlap_us > 0)
        b.power(b.spec.levels.changing_w)
        if 0 < overlap_us <= change_us:
            b.t_us = start_us + overlap_us
            b.put("positioning", False)
        b.t_us = start_us + change_us
        self._swap(number)
        if overlap_us > change_us:
            b.t_us = start_us + overlap_us
            b.put("positioning", False)
        self._change_us += change_us
        self._pos_us += max(0, overlap_us - change_us)
        if not b.spec.kinematics.overlaps:
            self._position(position_us)

    def _swap(self, number: int) -> None:
        b = self._b
        self._leave_tool()
        b.put("tool_changing", False)
        b.put("active_tool", number)

    def _leave_tool(self) -> None:
        """Book the time since the last change on the tool in the spindle."""
        b = self._b
        self._use(b.pots[b.out.values["active_tool"]]).seconds_us += b.t_us - self._since_us
        self._since_us = b.t_us

    def _position(self, position_us: int) -> None:
        if position_us:
            b = self._b
            b.put("positioning", True)
            b.t_us += position_us
            b.put("positioning", False)
            self._pos_us += position_us

    def _cut(self, step: PlannedStep, cut: PlannedCut) -> bool:
        b = self._b
        life, rng = b.lives[step.pot], b.rng
        worn = min(life.share, 1.2)
        motor_w = cut.power_kw * 1000 * (1 + life.spec.load_growth * worn) * (0.98 + 0.04 * rng.random())
        motor_w /= b.spec.levels.efficiency
        load = round(NO_LOAD_PCT + 100 * motor_w / b.spec.levels.rated_w, 1)
        watts = metered_w(b.spec.levels.running_w + motor_w)
        slower = self._slower(step.pot, worn) * (0.9985 + 0.003 * rng.random())
        length_us = round(cut.cut_us * slower / 1000) * 1000
        b.put("spindle_load", load)
        b.power(watts)
        left_us = length_us
        if 0 <= self._due_us - self._cut_us < length_us:
            before_us = self._due_us - self._cut_us
            left_us = length_us - before_us
            self._book(step.pot, before_us, cut.path_m * before_us / length_us)
            if not self._meet_trouble(step, load, watts):
                return False
        self._book(step.pot, left_us, cut.path_m * left_us / length_us)
        b.put("spindle_load", 0.0)
        return True

    def _slower(self, pot: int, worn: float) -> float:
        spec = self._b.spec
        factor = 1 + spec.slow_feed.get(pot, 0.0) * worn
        for change in spec.level_changes:
            if change.pot == pot and self._start_us >= self._b.start_us + change.after_us:
                factor *= change.factor
        return factor

    def _book(self, pot: int, cut_us: int, path_m: float) -> None:
        use = self._use(pot)
        use.cut_us += cut_us
        use.path_m += path_m
        self._cut_us += cut_us
        self._b.t_us += cut_us

    def _meet_trouble(self, step: PlannedStep, load: float, watts: int) -> bool:
        """Something happens in a cut; True when the cycle goes on after it."""
        assert self._trouble is not None
        b, kind = self._b, self._trouble.kind
        self._due_us = -1
        from_us = b.t_us
        b.put("spindle_load", 0.0)
        if kind in (HOLD, OVERRIDE_ZERO):
            self._hold(kind)
        elif kind == INTERRUPT:
            self._interrupt(step.speed_rpm)
        else:
            self._give_up(kind, step)
            return False
        self._held_us += b.t_us - from_us
        b.put("spindle_load", load)
        b.power(watts)
        return True

    def _hold(self, kind: str) -> None:
        b = self._b
        signal, stopped, going = ("feed_hold", True, False) if kind == HOLD else ("feed_override", 0, 100)
        b.put(signal, stopped)
        b.power(b.spec.levels.running_w)
        b.spend(b.spec.habits.hold.draw(b.rng))
        b.put(signal, going)

    def _interrupt(self, speed_rpm: int) -> None:
        b = self._b
        b.raise_alarm(b.rng.choice(IN_CYCLE))
        b.put("program_state", "interrupted")
        b.rest()
        b.repair(b.spec.habits.repair)
        b.clear_alarm()
        b.spend_between((3.0, 20.0))
        b.put("program_state", "running")
        b.put("state", "executing")
        b.put("spindle_speed", speed_rpm)

    def _give_up(self, kind: str, step: PlannedStep) -> None:
        b = self._b
        broken = kind == BREAKAGE
        fault: Fault = BROKEN_TOOL if broken else b.rng.choice(IN_CYCLE)
        b.raise_alarm(fault)
        from_us = b.t_us
        if kind == GIVE_UP:
            b.put("program_state", "interrupted")
            b.rest()
            b.repair(b.spec.habits.repair)
        self._held_us += b.t_us - from_us
        b.lives[step.pot].broken = broken
        self._finish("aborted", 0)
        b.rest()
        if kind == ABORT:
            b.repair(b.spec.habits.repair)
        if not broken:
            b.spend_between((10.0, 60.0))
            b.clear_alarm()

    def _make_parts(self) -> None:
        b = self._b
        made = b.program.program.parts_per_cycle
        scrap = sum(b.rng.random() < b.spec.habits.scrap_chance for _ in range(made))
        for signal, more in (("part_count", made), ("good_count", made - scrap), ("scrap_count", scrap)):
            b.counts[signal] += more
            b.put(signal, b.counts[signal])
        b.lot_left -= made
        self._scrap = scrap

    def _finish(self, outcome: str, parts: int) -> None:
        """The end: tool lives, the program's state, the truth."""
        b = self._b
        self._leave_tool()
        for pot, use in self._uses.items():
            if use.cut_us:
                b.lives[pot].spend(use.done, seconds(use.cut_us), use.path_m)
            b.tell_life(pot)
        b.put("program_state", "ended" if outcome == "complete" else "aborted")
        b.records.append((b.t_us, self._record(outcome, parts)))

    def _record(self, outcome: str, parts: int) -> dict[str, object]:
        b = self._b
        return {
            "kind": "cycle",
            "machine": b.spec.name,
            "start_us": self._start_us,
            "end_us": b.t_us,
            "outcome": outcome,
            "program": b.program.program.name,
            "part": b.part,
            "lot": b.lot,
            "parts": parts,
            "scrap": self._scrap,
            "cutting_s": seconds(self._cut_us),
            "tool_change_s": seconds(self._change_us),
            "positioning_s": seconds(self._pos_us),
            "held_s": seconds(self._held_us),
            "energy_wh": (b.energy_wus() - self._energy) / WH,
            "tools": [
                {"tool": b.tool_number(pot), "seconds": seconds(use.seconds_us), "cutting_s": seconds(use.cut_us)}
                for pot, use in self._uses.items()
            ],
        }
