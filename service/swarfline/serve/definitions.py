"""/definitions: what the words mean: conditions, steps, outcomes, spans, and every figure with its formula."""

from __future__ import annotations

from fastapi import APIRouter

from swarfline.facts import CONDITIONS, OUTCOMES, STEPS
from swarfline.measure import FIGURES
from swarfline.measure.kpis import UNTOLD
from swarfline.measure.lives import ENDS
from swarfline.serve.shapes import Shape
from swarfline.serve.spans import NAMES

router = APIRouter(tags=["plant"])

CONDITION_MEANINGS = {
    "unobserved": "nothing is known: no connection, or the machine's state is not readable",
    "off": "the machine says that it is not available",
    "out_of_service": "taken out of service, for maintenance for example",
    "setup": "a mode other than automatic: people set up or test",
    "held": "a program is begun but held: feed hold, interruption, or feed override at 0",
    "producing": "the main program runs",
    "fault": "not running, and an alarm is active",
    "waiting": "ready, but nothing runs: waiting for material, a person or an order",
}
STEP_MEANINGS = {
    "cutting": "the spindle turns under load",
    "tool_change": "a tool is being changed",
    "positioning": "table or axes move without cutting",
    "other": "what the signals cannot tell apart",
    "held": "the machine does not produce although a cycle is begun",
}
OUTCOME_MEANINGS = {
    "complete": "ran from start to end",
    "aborted": "ended before its end",
    "partial": "its start or its end lies in a gap",
}
TOOL_END_MEANINGS = {
    "at_limit": "changed at 95 % of its limit or past it",
    "failed": "an alarm told of its breakage, or the control locked it before its limit",
    "early": "its used value was set back before its limit, for a reason that nobody told",
    "removed": "another tool came into its pot before its limit",
    "unknown": "no limit was told",
}


class Meaning(Shape):
    """A word and what it means."""

    name: str
    about: str


class FigureMeaning(Shape):
    """A figure, its formula in the names of other figures and conditions, its unit and its source."""

    name: str
    formula: str
    unit: str
    about: str
    source: str


class MissingFigure(Shape):
    """A KPI of ISO 22400-2 that is not computed, its formula in the standard's abbreviations, and the reason."""

    name: str
    formula: str
    reason: str


class Definitions(Shape):
    """Every word that answers use."""

    conditions: list[Meaning]
    steps: list[Meaning]
    outcomes: list[Meaning]
    tool_ends: list[Meaning]
    spans: list[Meaning]
    figures: list[FigureMeaning]
    missing: list[MissingFigure]


@router.get("/definitions")
def read_definitions() -> Definitions:
    """What the words mean."""
    return Definitions(
        conditions=[Meaning(name=c, about=CONDITION_MEANINGS[c]) for c in CONDITIONS],
        steps=[Meaning(name=s, about=STEP_MEANINGS[s]) for s in STEPS],
        outcomes=[Meaning(name=o, about=OUTCOME_MEANINGS[o]) for o in OUTCOMES],
        tool_ends=[Meaning(name=e, about=TOOL_END_MEANINGS[e]) for e in ENDS],
        spans=[Meaning(name=name, about=about) for name, about in NAMES.items()],
        figures=[FigureMeaning(**d._asdict()) for d in FIGURES],
        missing=[MissingFigure(**u._asdict()) for u in UNTOLD],
    )
