"""What the pages of cycles say: steps, outcomes, differences."""

from __future__ import annotations

from swarfline.facts import ABORTED, COMPLETE, PARTIAL, RUNNING, Cycle
from swarfline.serve.page import words
from swarfline.serve.tongue import gettext as _


def step(name: str) -> str:
    """A step of a cycle, as words; unobserved is told apart here."""
    told = {
        "cutting": _("cutting"),
        "tool_change": _("tool change"),
        "positioning": _("positioning"),
        "other": _("other"),
        "held": _("held"),
        "unobserved": _("unobserved"),
    }
    return told.get(name, name)


def piece(kind: str, name: str) -> str:
    """A step, or a tool by its number."""
    return step(name) if kind == "step" else tool(name)


def tool(name: str) -> str:
    """T7; a machine may name its tools otherwise."""
    return words.tool(name) or _("no tool known")


def outcome(cycle: Cycle) -> str:
    """How a cycle ended, and what was amiss with it."""
    told = {
        COMPLETE: _("complete"),
        ABORTED: _("aborted"),
        PARTIAL: _("partly seen"),
        RUNNING: _("running"),
    }.get(RUNNING if cycle.open else cycle.outcome, cycle.outcome)
    if cycle.held_us:
        told += ", " + _("held for %s") % words.length(cycle.held_us)
    if cycle.unobserved_us:
        told += ", " + _("%s unobserved") % words.length(cycle.unobserved_us)
    return told


def change(value: float | None, digits: int = 2) -> str:
    """+1.30 s, −0.40 s, 0.00 s"""
    if value is None:
        return words.UNKNOWN
    text = words.seconds(value, digits)
    return f"+{text}" if value > 0 and text.strip("0.,s ") else text


def between(low: float | None, high: float | None, digits: int = 2) -> str:
    """−0.61 to −0.22 s"""
    if low is None or high is None:
        return words.UNKNOWN
    signs = [change(v, digits).removesuffix(" s") for v in (low, high)]
    return _("%(low)s to %(high)s s") % {"low": signs[0], "high": signs[1]}


def made(program: str, part: str) -> str:
    """PH-12, program O1201"""
    return _("%(part)s, program %(program)s") % {
        "part": part or _("part not known"),
        "program": program or _("not known"),
    }


def chance(p: float | None) -> str:
    """How likely chance alone is."""
    if p is None:
        return words.UNKNOWN
    return _("below %s") % words.number(0.0001, 4) if p < 0.0001 else words.number(p, 4)
