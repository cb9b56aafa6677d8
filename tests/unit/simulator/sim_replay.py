"""An independent reading of an event stream, to hold the model's truth against."""

from collections import defaultdict
from itertools import groupby

IN_CYCLE = ("running", "interrupted")


def condition_of(values):
    """The condition by the rule of the vocabulary, written out anew."""
    if values["state"] in ("not_available", "out_of_service"):
        return {"not_available": "off", "out_of_service": "out_of_service"}[values["state"]]
    if values["mode"] != "automatic":
        return "setup"
    stopped = values["feed_override"] == 0 and values["program_state"] in IN_CYCLE
    if values["feed_hold"] or values["program_state"] == "interrupted" or stopped:
        return "held"
    if values["state"] == "executing":
        return "producing"
    return "fault" if values["alarm"] else "waiting"


def step_of(values, condition):
    """The step of a cycle by the step rule."""
    if condition != "producing":
        return "held_s"
    for signal, step in (("tool_changing", "tool_change_s"), ("positioning", "positioning_s")):
        if values[signal]:
            return step
    return "cutting_s" if values["spindle_speed"] > 0 and values["spindle_load"] > 5 else "other_s"


class Replay:
    """One machine's events, instant by instant: conditions, cycles, energy in W·µs."""

    def __init__(self, events):
        self.values = {}
        self.conditions = []
        self.cycles = []
        self.energy_wus = 0
        self._cycle = None
        self._at_us = None
        for t_us, instant in groupby(events, key=lambda e: e.t_us):
            self._pass_to(t_us)
            changed = {}
            for event in instant:
                changed[event.signal] = event.value
            self.values.update(changed)
            self._turn(t_us, changed.get("program_state"))

    def _pass_to(self, t_us):
        if self._at_us is not None:
            span = t_us - self._at_us
            self.energy_wus += round(self.values["power"]) * span
            if self._cycle:
                self._cycle["us"][step_of(self.values, condition_of(self.values))] += span
                self._cycle["tools"][self.values["active_tool"]] += span
        self._at_us = t_us

    def _turn(self, t_us, program_state):
        condition = condition_of(self.values)
        if not self.conditions or self.conditions[-1][1] != condition:
            self.conditions.append((t_us, condition))
        if program_state in ("ended", "aborted") and self._cycle:
            self.cycles.append({**self._cycle, "end_us": t_us, "state": program_state})
            self._cycle = None
        elif program_state == "running" and not self._cycle:
            self._cycle = {"start_us": t_us, "us": defaultdict(int), "tools": defaultdict(int)}
