"""What a machine does between cycles: waits, tool service, lots and setups, faults, nights."""

from __future__ import annotations

from swarfline_sim.bench import Bench
from swarfline_sim.events import MINUTE_US, WARM_UP, micros
from swarfline_sim.faults import BETWEEN, BREAKDOWN, LIFE_OVER
from swarfline_sim.planning import BREAK, Span, next_attended
from swarfline_sim.program import cycle_seconds
from swarfline_sim.wear import Life

OVERRUN = 1.1
"""A machine that is alone uses a tool up to this share of its life, then it stops."""

TOGETHER = 0.95
"""Tools past this share of their life are replaced along with one that is due."""


def wait_for_loader(bench: Bench) -> None:
    """The pause between two cycles, at times a long one."""
    habits = bench.spec.habits
    bench.spend_between(habits.short_wait)
    if bench.rng.random() < habits.long_wait_chance:
        bench.spend(habits.long_wait.draw(bench.rng))


def maybe_fault(bench: Bench) -> None:
    """At times a fault between cycles, rarely a breakdown that takes the machine out of service."""
    habits, roll = bench.spec.habits, bench.rng.random()
    if roll < habits.breakdown_chance:
        _break_down(bench)
    elif roll < habits.breakdown_chance + habits.between_chance:
        bench.raise_alarm(bench.rng.choice(BETWEEN))
        bench.repair(habits.repair)
        bench.clear_alarm()
        bench.spend_between((5.0, 30.0))


def _break_down(bench: Bench) -> None:
    bench.raise_alarm(BREAKDOWN)
    bench.put("state", "out_of_service")
    bench.await_person()
    bench.spend(bench.spec.habits.breakdown.draw(bench.rng))
    bench.clear_alarm()
    bench.put("state", "not_executing")
    bench.spend_between((30.0, 120.0))


def serve_tools(bench: Bench) -> bool:
    """Replace the tools that are due; True when time was spent on it."""
    due = _due_pots(bench)
    if not due:
        return False
    if not bench.attended():
        if not bench.out.values["alarm"]:
            bench.raise_alarm(LIFE_OVER)
        bench.await_person()
        due = _due_pots(bench)
    else:
        bench.spend(bench.spec.habits.notice.draw(bench.rng))
    near = [pot for pot in bench.needs[bench.part] if bench.lives[pot].share >= TOGETHER]
    replace_tools(bench, [*due, *(pot for pot in near if pot not in due)])
    return True


def _due_pots(bench: Bench) -> list[int]:
    margin = 1.0 if bench.attended() else OVERRUN
    return [
        pot
        for pot, need in bench.needs[bench.part].items()
        if bench.lives[pot].broken or bench.lives[pot].used + need > margin * bench.lives[pot].spec.limit
    ]


def replace_tools(bench: Bench, pots: list[int]) -> None:
    """A person puts new tools into these pots; an alarm about them goes."""
    shortest, _ = limits = bench.spec.habits.replace
    bench.spend_between(limits)
    bench.spend(0.4 * shortest * (len(pots) - 1))
    for pot in pots:
        _replace(bench, pot)
    bench.clear_alarm()
    bench.spend_between((4.0, 10.0))


def _replace(bench: Bench, pot: int) -> None:
    life = bench.lives[pot]
    reason = "broken" if life.broken else "limit" if life.left < bench.needs[bench.part].get(pot, 0) else "early"
    record = {
        "kind": "tool_life",
        "machine": bench.spec.name,
        "tool": life.spec.number,
        "pot": pot,
        "start_us": life.installed_us,
        "end_us": bench.t_us,
        "achieved": life.used,
        "limit": life.spec.limit,
        "basis": life.spec.basis,
        "reason": reason,
    }
    bench.records.append((bench.t_us, record))
    bench.lives[pot] = Life(life.spec, bench.t_us)
    bench.tell_life(pot)


def prepare_absence(bench: Bench, span: Span) -> None:
    """Before people leave a machine that goes on alone, they replace the tools that would not last."""
    back_us = next_attended(bench.spec.plan, span.end_us)
    floor_s = cycle_seconds(bench.program, bench.spec.kinematics) + sum(bench.spec.habits.short_wait) / 2
    cycles = 0.85 * (back_us - bench.t_us) / 1e6 / floor_s
    pots = [pot for pot, need in bench.needs[bench.part].items() if bench.lives[pot].left < need * cycles]
    if pots:
        replace_tools(bench, pots)


def next_lot(bench: Bench) -> None:
    """The lot is finished: go on to the next one, with a setup when it is another part."""
    before = bench.part
    after = bench.spec.lots[(bench.lot_index + 1) % len(bench.spec.lots)][0]
    if after != before:
        bench.await_person()
        _set_up(bench)
        return
    if bench.attended():
        bench.spend_between(bench.spec.habits.lot_change)
    _take_lot(bench)
    bench.spend(2.0)


def _take_lot(bench: Bench) -> None:
    bench.lot_index += 1
    bench.lot_left = bench.spec.lots[bench.lot_index % len(bench.spec.lots)][1]
    bench.tell_lot()


def _set_up(bench: Bench) -> None:
    bench.spend_between((5.0, 60.0))
    bench.put("mode", "setup")
    bench.power(bench.spec.levels.setup_w)
    length = bench.rng.uniform(*bench.spec.habits.setup)
    bench.spend(0.6 * length)
    _take_lot(bench)
    bench.put("part", bench.part)
    bench.put("program", bench.program.program.name)
    bench.put("active_tool", bench.tool_number(bench.program.steps[0].pot))
    bench.put("program_state", "ready")
    bench.spend(0.4 * length)
    bench.put("mode", "automatic")
    bench.power(bench.spec.levels.ready_w)
    bench.spend_between((5.0, 30.0))


def close(bench: Bench, span: Span) -> None:
    """Nobody is there: the machine waits, is switched off, and is switched on again before work."""
    on_us = span.end_us - micros(bench.rng.uniform(1, 8) * MINUTE_US / 1e6)
    long_closed = span.start_us < bench.t_us - 60 * MINUTE_US
    off_us = bench.t_us if long_closed else bench.t_us + micros(bench.rng.uniform(*bench.spec.habits.off_after))
    if off_us < on_us:
        bench.t_us = off_us
        bench.put("state", "not_available")
        bench.power(bench.spec.levels.off_w)
        bench.t_us = on_us
        bench.put("state", "not_executing")
        bench.power(bench.spec.levels.ready_w)
        bench.cold = True
    bench.t_us = span.end_us
    bench.spend_between((20.0, 240.0))


def warm_up(bench: Bench) -> None:
    """A spindle warm-up in setup mode; no program runs, so it is no cycle."""
    bench.put("mode", "setup")
    bench.put("state", "executing")
    bench.put(WARM_UP, True)
    bench.put("spindle_speed", 4000)
    bench.power(bench.spec.levels.warm_up_w)
    bench.spend_between(bench.spec.habits.warm_up)
    bench.put(WARM_UP, False)
    bench.rest()
    bench.put("mode", "automatic")
    bench.cold = False
    bench.spend_between((10.0, 40.0))


def rest_in_break(bench: Bench, span: Span) -> bool:
    """People take their break and the machine waits for them; False when it need not."""
    if span.kind != BREAK or not bench.spec.rests_in_breaks:
        return False
    bench.t_us = span.end_us
    bench.spend_between((10.0, 150.0))
    return True
