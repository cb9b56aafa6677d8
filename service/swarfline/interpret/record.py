"""The record of one cycle while it is being written: steps, tools, loads, energy."""

from __future__ import annotations

from dataclasses import astuple, dataclass, field, fields
from typing import Any

from swarfline.facts import CUTTING, OTHER, RUNNING, STEPS, TOOL_CHANGE, Cycle, StepPiece, ToolUse
from swarfline.interpret.steps import STEP_INDEX

_CUTTING, _OTHER, _TOOL_CHANGE = (STEP_INDEX[step] for step in (CUTTING, OTHER, TOOL_CHANGE))

STRIP_PIECES = 2000
"""A strip tells no more pieces than these; what follows is one piece of step ``other``."""


@dataclass(slots=True)
class ToolTally:
    """What one tool did in the cycle so far; ``load_us`` is Σ load · µs while cutting."""

    order: int
    in_spindle_us: int = 0
    cutting_us: int = 0
    load_us: float = 0.0
    load_peak: float | None = None
    life_used: float | None = None


@dataclass(slots=True)
class Standstill:
    """A time in which the spindle stands: since when, with which tool, and how much was booked as other before it.

    ``changed``: the tool has changed in it, so that it is a tool change.
    """

    start_us: int
    tool: str
    other_us: int
    changed: bool = False


@dataclass(slots=True, eq=False)
class CycleRecord:
    """A cycle being written. ``mark_us`` is how far its steps are added up, ``paid_us`` how far its energy is
    known without a hole (None: there is one); ``finished``: its end was told, whether or not its start was.
    """

    machine: str
    start_us: int
    start_raw_us: int
    partial: bool
    mark_us: int
    paid_us: int | None
    end_us: int | None = None
    outcome: str = RUNNING
    program: str = ""
    part: str = ""
    lot: str = ""
    finished: bool = False
    parts: int = 0
    step: int = STEP_INDEX[OTHER]
    tool: str = ""
    load: float | None = None
    step_us: list[int] = field(default_factory=lambda: [0] * len(STEPS))
    energy_j: float = 0.0
    tools: dict[str, ToolTally] = field(default_factory=dict)
    strip: list[tuple[int, int, str]] = field(default_factory=list)
    standstill: Standstill | None = None
    unseen: bool = False
    unobserved_us: int = 0

    def advance(self, to_us: int) -> None:
        """Book the time up to ``to_us`` on the present step and tool."""
        spent = to_us - self.mark_us
        if spent <= 0:
            return
        self.mark_us = to_us
        self.step_us[self.step] += spent
        if self.unseen:
            self.unobserved_us += spent
        if not self.tool:
            return
        tally = self.tools.get(self.tool)
        if tally is None:
            tally = self.tools[self.tool] = ToolTally(len(self.tools) + 1)
        tally.in_spindle_us += spent
        if self.step == _CUTTING:
            self._cut(tally, spent)

    def _cut(self, tally: ToolTally, spent: int) -> None:
        tally.cutting_us += spent
        if self.load is not None:
            tally.load_us += self.load * spent
            tally.load_peak = self.load if tally.load_peak is None else max(tally.load_peak, self.load)

    def stand(self, at_us: int, step: int, tool: str) -> int:
        """The spindle stands at ``at_us``: the step that this is, with another tool than it had a tool change."""
        standstill = self.standstill
        if standstill is None:
            self.advance(at_us)
            standstill = self.standstill = Standstill(at_us, tool, self.step_us[_OTHER])
        if tool and tool != standstill.tool and not standstill.changed:
            self.advance(at_us)
            self._rebook(standstill)
            standstill.changed = True
        return _TOOL_CHANGE if standstill.changed and step == _OTHER else step

    def _rebook(self, standstill: Standstill) -> None:
        """What was other in a standstill is a tool change."""
        spent = self.step_us[_OTHER] - standstill.other_us
        self.step_us[_OTHER] -= spent
        self.step_us[_TOOL_CHANGE] += spent
        begin, strip = standstill.start_us - self.start_us, self.strip
        if len(strip) >= STRIP_PIECES - 1:
            return
        before = max((n for n, piece in enumerate(strip) if piece[0] <= begin), default=None)
        if before is not None and strip[before][0] < begin and strip[before][1] == _OTHER:
            strip.insert(before + 1, (begin, *strip[before][1:]))
        for n, (offset, step, tool) in enumerate(strip):
            if offset >= begin and step == _OTHER:
                strip[n] = (offset, _TOOL_CHANGE, tool)

    def turn(self, at_us: int, step: int, tool: str, load: float | None, unseen: bool = False) -> None:
        """From ``at_us`` on: this step, tool and load; ``unseen``: nothing of it is known."""
        if step == self.step and tool == self.tool and load == self.load and unseen == self.unseen and self.strip:
            return
        self.advance(at_us)
        if not self.strip or step != self.step or tool != self.tool:
            self._draw(at_us - self.start_us, step, tool)
        self.step, self.tool, self.load, self.unseen = step, tool, load, unseen

    def _draw(self, offset: int, step: int, tool: str) -> None:
        strip = self.strip
        if len(strip) >= STRIP_PIECES:
            return
        if strip and strip[-1][0] == offset:
            strip.pop()
        if len(strip) == STRIP_PIECES - 1:
            step, tool = STEP_INDEX[OTHER], ""
        if not strip or strip[-1][1:] != (step, tool):
            strip.append((offset, step, tool))

    def pay(self, begin_us: int, end_us: int, watts: float) -> None:
        """Energy of a piece of the cycle's time, told in order of time."""
        if self.paid_us is not None and begin_us > self.paid_us:
            self.paid_us = None
        if self.paid_us is not None and end_us > begin_us:
            self.energy_j += watts * (end_us - begin_us) * 1e-6
            self.paid_us = end_us

    def add_life(self, tool: str, used: float) -> None:
        """Life that a tool used up in this cycle."""
        tally = self.tools.get(tool)
        if tally is None:
            tally = self.tools[tool] = ToolTally(len(self.tools) + 1)
        tally.life_used = (tally.life_used or 0.0) + used

    def fact(self, until_us: int) -> Cycle:
        """The cycle as it stands, open ones as far as observed."""
        is_open = self.end_us is None
        step_us = list(self.step_us)
        if is_open and until_us > self.mark_us:
            step_us[self.step] += until_us - self.mark_us
        return Cycle(
            self.machine,
            self.start_us,
            until_us if self.end_us is None else self.end_us,
            self.outcome,
            self.program,
            self.part,
            self.lot,
            self.parts,
            tuple(step_us),
            self._energy(),
            tuple(_use(tool, tally) for tool, tally in self.tools.items()),
            tuple(StepPiece(offset, STEPS[step], tool) for offset, step, tool in self.strip),
            self.unobserved_us,
            is_open,
        )

    def _energy(self) -> float | None:
        """Joules, when they are known for all of the cycle so far; a part of them would look like thrift."""
        if self.paid_us is None or self.paid_us < (self.end_us or self.start_us + 1):
            return None
        return self.energy_j

    def save(self) -> dict[str, object]:
        """State as plain data."""
        state = {f.name: getattr(self, f.name) for f in fields(self)}
        state["tools"] = {
            tool: [t.order, t.in_spindle_us, t.cutting_us, t.load_us, t.load_peak, t.life_used]
            for tool, t in self.tools.items()
        }
        state["step_us"], state["strip"] = list(self.step_us), list(self.strip)
        state["standstill"] = None if self.standstill is None else list(astuple(self.standstill))
        return state

    @classmethod
    def load_state(cls, state: dict[str, Any]) -> CycleRecord:
        """The reverse of save."""
        tools = {tool: ToolTally(*tally) for tool, tally in state["tools"].items()}
        strip = [tuple(piece) for piece in state["strip"]]
        stood = state.get("standstill")
        plain = {**state, "tools": tools, "strip": strip, "step_us": list(state["step_us"])}
        return cls(**{**plain, "standstill": Standstill(*stood) if stood else None})


def _use(tool: str, tally: ToolTally) -> ToolUse:
    mean = tally.load_us / tally.cutting_us if tally.cutting_us and tally.load_peak is not None else None
    return ToolUse(
        tool, tally.order, tally.in_spindle_us, tally.cutting_us, mean, tally.load_peak, tally.life_used
    )
