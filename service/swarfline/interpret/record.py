"""The record of one cycle while it is being written: steps, tools, loads, energy."""

from __future__ import annotations

from dataclasses import dataclass, field, fields

from swarfline.facts import CUTTING, RUNNING, STEPS, Cycle, StepPiece, ToolUse
from swarfline.interpret.steps import STEP_INDEX

_CUTTING = STEP_INDEX[CUTTING]


@dataclass(slots=True)
class ToolTally:
    """What one tool did in the cycle so far; ``load_us`` is Σ load · µs while cutting."""

    order: int
    in_spindle_us: int = 0
    cutting_us: int = 0
    load_us: float = 0.0
    load_peak: float | None = None
    life_used: float | None = None


@dataclass(slots=True, eq=False)
class CycleRecord:
    """A cycle being written. ``mark_us`` is how far its steps are added up."""

    machine: str
    start_us: int
    start_raw_us: int
    partial: bool
    mark_us: int
    end_us: int | None = None
    outcome: str = RUNNING
    program: str = ""
    part: str = ""
    lot: str = ""
    labelled: bool = False
    parts: int = 0
    step: int = STEP_INDEX["other"]
    tool: str = ""
    load: float | None = None
    step_us: list[int] = field(default_factory=lambda: [0] * len(STEPS))
    energy_j: float | None = None
    tools: dict[str, ToolTally] = field(default_factory=dict)
    strip: list[tuple[int, int, str]] = field(default_factory=list)

    def advance(self, to_us: int) -> None:
        """Book the time up to ``to_us`` on the present step and tool."""
        spent = to_us - self.mark_us
        if spent <= 0:
            return
        self.mark_us = to_us
        self.step_us[self.step] += spent
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

    def turn(self, at_us: int, step: int, tool: str, load: float | None) -> None:
        """From ``at_us`` on: this step, tool and load."""
        if step == self.step and tool == self.tool and load == self.load and self.strip:
            return
        self.advance(at_us)
        if not self.strip or step != self.step or tool != self.tool:
            offset = at_us - self.start_us
            if self.strip and self.strip[-1][0] == offset:
                self.strip.pop()
            self.strip.append((offset, step, tool))
        self.step, self.tool, self.load = step, tool, load

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
            self.energy_j,
            tuple(_use(tool, tally) for tool, tally in self.tools.items()),
            tuple(StepPiece(offset, STEPS[step], tool) for offset, step, tool in self.strip),
            is_open,
        )

    def save(self) -> dict[str, object]:
        """State as plain data."""
        state = {f.name: getattr(self, f.name) for f in fields(self)}
        state["tools"] = {
            tool: [t.order, t.in_spindle_us, t.cutting_us, t.load_us, t.load_peak, t.life_used]
            for tool, t in self.tools.items()
        }
        return state

    @classmethod
    def load_state(cls, state: dict[str, object]) -> CycleRecord:
        """The reverse of save."""
        plain = dict(state)
        plain["tools"] = {tool: ToolTally(*tally) for tool, tally in state["tools"].items()}  # type: ignore[attr-defined]
        plain["strip"] = [tuple(piece) for piece in state["strip"]]  # type: ignore[attr-defined]
        return cls(**plain)  # type: ignore[arg-type]


def _use(tool: str, tally: ToolTally) -> ToolUse:
    mean = tally.load_us / tally.cutting_us if tally.cutting_us and tally.load_peak is not None else None
    return ToolUse(
        tool, tally.order, tally.in_spindle_us, tally.cutting_us, mean, tally.load_peak, tally.life_used
    )
