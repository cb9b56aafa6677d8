"""The truth of a run, taken from the event stream as it is let out: conditions, energy, alarms, totals.

A ledger sees every event once, in order; what it tells does not depend on how the time was cut into pieces.
Energy is kept in whole W·µs, so sums are exact.
"""

from __future__ import annotations

from collections.abc import Callable

from swarfline_sim.events import Event, Value, seconds

QUARTER_US = 15 * 60 * 1_000_000
WH = 3_600_000_000
"""W·µs in one Wh."""

CONDITIONS = ("off", "out_of_service", "setup", "held", "producing", "fault", "waiting")

Record = dict[str, object]
"""One line of the truth: plain data."""


def classify(values: dict[str, Value]) -> str:
    """What a machine does with these values; first match."""
    state = values["state"]
    if state == "not_available":
        return "off"
    if state == "out_of_service":
        return "out_of_service"
    if values["mode"] != "automatic":
        return "setup"
    program_state = values["program_state"]
    in_cycle = program_state in ("running", "interrupted")
    if values["feed_hold"] or program_state == "interrupted" or (in_cycle and values["feed_override"] == 0):
        return "held"
    if state == "executing":
        return "producing"
    return "fault" if values["alarm"] else "waiting"


class Ledger:
    """Accounts of one machine. ``base_wus`` is the energy counter's start in W·µs."""

    def __init__(self, machine: str, start_us: int, base_wus: int) -> None:
        self.machine = machine
        self.records: list[Record] = []
        self.energy_wus = base_wus
        self._base_wus = base_wus
        self._power_w = 0
        self._mark_us = start_us
        self._quarter_us = start_us
        self._quarter_wus = base_wus
        self._values: dict[str, Value] = {}
        self._condition = ""
        self._condition_us = start_us
        self._pending_us: int | None = None
        self._alarm_us: int | None = None
        self._alarm: tuple[Value, Value] = ("", "")
        self._seconds_us = dict.fromkeys(CONDITIONS, 0)
        self._counts = {"complete": 0, "aborted": 0}
        self._first: dict[str, int] = {}
        self.handlers: dict[str, Callable[[Event], None]] = {
            "power": self._on_power,
            "alarm": self._on_condition,
            **dict.fromkeys(("state", "mode", "program_state", "feed_hold", "feed_override"), self._on_condition),
            **dict.fromkeys(("part_count", "good_count", "scrap_count"), self._on_count),
            **dict.fromkeys(("alarm_code", "alarm_text"), self._on_text),
        }

    def _on_text(self, event: Event) -> None:
        self._values[event.signal] = event.value

    def _on_count(self, event: Event) -> None:
        self._values[event.signal] = event.value
        self._first.setdefault(event.signal, int(event.value))

    def _on_power(self, event: Event) -> None:
        self.integrate(event.t_us)
        self._power_w = int(event.value)

    def _on_condition(self, event: Event) -> None:
        self._settle(event.t_us)
        self._values[event.signal] = event.value
        self._pending_us = event.t_us
        if event.signal == "alarm":
            self._on_alarm(event)

    def _on_alarm(self, event: Event) -> None:
        if event.value:
            self._alarm_us = event.t_us
        elif self._alarm_us is not None:
            code, text = self._values["alarm_code"], self._values["alarm_text"]
            self._alarm_record(event.t_us, code, text)
            self._alarm_us = None

    def _alarm_record(self, end_us: int, code: Value, text: Value) -> None:
        record: Record = {"kind": "alarm", "machine": self.machine, "start_us": self._alarm_us, "end_us": end_us}
        self.records.append({**record, "code": code, "text": text})

    def _settle(self, t_us: int) -> None:
        """What changed at an earlier instant counts from that instant, all together."""
        if self._pending_us is None or self._pending_us == t_us:
            return
        condition = classify(self._values)
        if condition != self._condition:
            self._close_condition(self._pending_us)
            self._condition = condition
        self._pending_us = None

    def _close_condition(self, end_us: int) -> None:
        start_us = self._condition_us
        self._condition_us = end_us
        if not self._condition or end_us <= start_us:
            return
        self._seconds_us[self._condition] += end_us - start_us
        record: Record = {"kind": "condition", "machine": self.machine, "start_us": start_us, "end_us": end_us}
        self.records.append({**record, "condition": self._condition})

    def integrate(self, t_us: int) -> int:
        """The energy counter at ``t_us`` in W·µs; closes the quarter-hours passed on the way."""
        while self._mark_us < t_us:
            edge_us = min(t_us, self._mark_us - self._mark_us % QUARTER_US + QUARTER_US)
            self.energy_wus += self._power_w * (edge_us - self._mark_us)
            self._mark_us = edge_us
            if edge_us % QUARTER_US == 0:
                self._close_quarter()
        return self.energy_wus

    def _close_quarter(self) -> None:
        if self._mark_us <= self._quarter_us:
            return
        record: Record = {"kind": "energy", "machine": self.machine, "start_us": self._quarter_us}
        wh = (self.energy_wus - self._quarter_wus) / WH
        self.records.append({**record, "end_us": self._mark_us, "wh": wh})
        self._quarter_us, self._quarter_wus = self._mark_us, self.energy_wus

    def cycle_done(self, outcome: str) -> None:
        """A cycle has come to its end."""
        self._counts[outcome] += 1

    def advance(self, t_us: int) -> None:
        """No event lies between the last one and ``t_us``: settle what is due."""
        self._settle(t_us)
        self.integrate(t_us)

    def finish(self, at_us: int) -> list[Record]:
        """The open condition, alarm and quarter-hour up to ``at_us``, and the totals. Ends the ledger's use."""
        self.advance(at_us)
        done, self.records = self.records, []
        self._close_condition(at_us)
        self._close_quarter()
        if self._alarm_us is not None:
            self._alarm_record(at_us, self._values["alarm_code"], self._values["alarm_text"])
        return [*done, *self.records, self._totals(at_us)]

    def _totals(self, at_us: int) -> Record:
        made, good, scrap = (
            int(self._values[name]) - self._first[name] for name in ("part_count", "good_count", "scrap_count")
        )
        return {
            "kind": "totals",
            "machine": self.machine,
            "at_us": at_us,
            "cycles_complete": self._counts["complete"],
            "cycles_aborted": self._counts["aborted"],
            "parts": made,
            "good": good,
            "scrap": scrap,
            "energy_wh": (self.energy_wus - self._base_wus) / WH,
            "seconds": {name: seconds(us) for name, us in self._seconds_us.items()},
        }
