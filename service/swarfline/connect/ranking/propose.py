"""Candidates by name, type, unit and behaviour, the best of them as proposals, honest about how sure they are."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from swarfline.connect.ranking.aims import AIMS, TOOL_AIMS, Aim
from swarfline.connect.ranking.coding import codes_of
from swarfline.connect.ranking.conduct import Conduct, conduct_of
from swarfline.connect.ranking.spelling import ideas_in
from swarfline.connect.ranking.words import STRANGE
from swarfline.connect.sighting import Course, Proposal, Sureness, Variable
from swarfline.signals import SIGNALS, TOOL_FIELDS, Kind, tool_signal

NAMED, TYPED, UNITED, BEHAVED = 4.0, 2.0, 2.0, 2.0
STRAYED = 0.7
"""Taken off for each idea in a name that the signal does not have."""
CLEAR = 1.0
"""So far behind must the next candidate be."""
MOST_RIVALS = 3
MOST_POTS = 200
_UNITS = {
    "kwh": "kWh", "mwh": "MWh", "wh": "Wh", "kw": "kW", "w": "W", "ms": "ms", "sec": "s", "s": "s", "min": "min",
    "rpm": "r/min",
}  # fmt: skip
_UNIT = re.compile(r"[\W_]((?i:kwh|mwh|wh|kw|w|ms|sec|s|min|rpm))$|(?<=[a-z])(KWh?|KWH|RPM|kWh?)$")
"""A unit as the last word of a name."""
_POT = re.compile(r"\d{1,3}")


@dataclass(frozen=True, slots=True)
class Candidate:
    """A variable for a signal, with its score and why."""

    variable: Variable
    score: float
    reasons: tuple[str, ...]
    behaves: bool | None


def propose(variables: Sequence[Variable], courses: Mapping[str, Course]) -> list[Proposal]:
    """Signals and fields of tools found among the variables of one machine, those of the catalogue's order."""
    singles = [v for v in variables if v.length is None and v.quality != "bad"]
    ranked = _assigned(AIMS, singles, courses)
    work = next((courses.get(ranked[s][0].variable.node) for s in ("spindle_speed", "power") if s in ranked), None)
    plain = [_proposal(aim, ranked[aim.signal], courses, work) for aim in AIMS if aim.signal in ranked]
    order = list(SIGNALS)
    taken = {proposal.variable.node for proposal in plain}
    tools = [*_arrays(variables, courses), *_numbered([v for v in singles if v.node not in taken], courses)]
    return [*sorted(plain, key=lambda p: order.index(p.signal)), *tools]


def _assigned(
    aims: Sequence[Aim], variables: Sequence[Variable], courses: Mapping[str, Course]
) -> dict[str, list[Candidate]]:
    """Candidates by signal, best first; a variable stands only where it fits best."""
    best: dict[str, list[Candidate]] = defaultdict(list)
    for variable in variables:
        scored = [
            (candidate, aim)
            for aim in aims
            if (candidate := _candidate(aim, variable, courses.get(variable.node)))
        ]
        if scored:
            candidate, aim = max(scored, key=lambda pair: pair[0].score)
            best[aim.signal].append(candidate)
    for candidates in best.values():
        candidates.sort(key=lambda c: (-c.score, len(c.variable.path), c.variable.name))
    return best


def _candidate(aim: Aim, variable: Variable, course: Course | None) -> Candidate | None:
    names = {variable.name, variable.display, variable.description}
    found: frozenset[str] = frozenset().union(*(ideas_in(name) for name in names if name))
    way = next((group for group in aim.ideas if set(group) <= found), None)
    if way is None or found & set(STRANGE) or found & set(aim.without):
        return None
    if variable.type not in aim.types | aim.less:
        return None
    stray = len(found - {idea for group in aim.ideas for idea in group} - {"machine", "active", "name", "number"})
    score = NAMED + len(way) - STRAYED * stray
    reasons = [f"called {variable.name[:60]!r}"]
    score += TYPED if variable.type in aim.types else 0.0
    reasons.append(variable.type)
    unit = unit_of(variable)
    if aim.units and unit is not None:
        if unit not in aim.units:
            return None
        score += UNITED
        reasons.append(f"in {unit}")
    behaves = _behaves(aim, conduct_of(course))
    if behaves is not None:
        score += BEHAVED if behaves else -2 * BEHAVED
        reasons.append("behaved so while watched" if behaves else "did NOT behave so while watched")
    return Candidate(variable, score, tuple(reasons), behaves)


def _behaves(aim: Aim, conduct: Conduct | None) -> bool | None:
    return None if conduct is None else aim.fits(conduct)


def unit_of(variable: Variable) -> str | None:
    """The unit that the node has, or that its name ends with."""
    if variable.unit:
        return variable.unit
    found = _UNIT.search(variable.name[-20:])
    return None if found is None else _UNITS[(found[1] or found[2]).lower()]


def _sureness(candidates: Sequence[Candidate]) -> Sureness:
    first = candidates[0]
    is_clear = len(candidates) == 1 or first.score - candidates[1].score >= CLEAR
    return "likely" if is_clear and first.behaves is not False and first.score >= NAMED + TYPED else "guess"


def _proposal(
    aim: Aim, candidates: Sequence[Candidate], courses: Mapping[str, Course], work: Course | None
) -> Proposal:
    first = candidates[0]
    variable, sureness = first.variable, _sureness(candidates)
    signal = SIGNALS[aim.signal]
    values, question = _values(aim.signal, variable, courses, work)
    unit, question = _unit(signal.unit, variable, question)
    if values and question and not variable.texts:
        # the node may be certain; what its codes mean is not
        sureness = "guess"
    rivals = tuple(c.variable.node for c in candidates[1 : 1 + MOST_RIVALS])
    if sureness == "guess" and not question:
        question = _doubt(candidates)
    return Proposal(
        aim.signal, variable, sureness, "; ".join(first.reasons), question, rivals, unit,
        width=variable.width if signal.kind is Kind.COUNTER else None, values=values,
    )  # fmt: skip


def _doubt(candidates: Sequence[Candidate]) -> str:
    if candidates[0].behaves is False:
        return "it is called so, but did not behave so: is it the right one?"
    others = ", ".join(c.variable.name[:60] for c in candidates[1 : 1 + MOST_RIVALS])
    return f"this one, or {others}?" if others else "is it the right one?"


def _values(
    signal: str, variable: Variable, courses: Mapping[str, Course], work: Course | None
) -> tuple[dict[str, str | bool] | None, str]:
    if SIGNALS[signal].kind is not Kind.ENUM:
        return None, ""
    table, question = codes_of(signal, variable, courses.get(variable.node), work)
    return table or None, question


def _unit(wanted: str, variable: Variable, question: str) -> tuple[str | None, str]:
    """The unit to write into the plant file: only where the node has none and its name tells one."""
    if not wanted or wanted in ("1", "basis", "%") or variable.unit:
        return None, question
    named = unit_of(variable)
    if named is not None:
        return (None if named == wanted else named), question
    return None, question or f"is it in {wanted}? The node names no unit"


def _arrays(variables: Sequence[Variable], courses: Mapping[str, Course]) -> Iterator[Proposal]:
    """One entry per pot and field, from arrays over the pots."""
    arrays = [v for v in variables if v.length is not None and v.quality != "bad"]
    ranked = _assigned(TOOL_AIMS, arrays, courses)
    for aim in TOOL_AIMS:
        candidates = ranked.get(aim.signal)
        if candidates:
            variable = candidates[0].variable
            for at in range(min(variable.length or 0, MOST_POTS)):
                yield _tool(aim, candidates, str(at + 1), at, "life_basis" in ranked)


def _numbered(variables: Sequence[Variable], courses: Mapping[str, Course]) -> Iterator[Proposal]:
    """Fields of tools with the pot's number in the name, where several pots are there."""
    by_field: dict[str, dict[str, Variable]] = defaultdict(dict)
    for variable in variables:
        has_number = _POT.search("".join(step for _, step in variable.path[-2:])) is not None
        for aim in TOOL_AIMS if has_number else ():
            if _candidate(aim, variable, courses.get(variable.node)) is not None:
                by_field[aim.signal].setdefault(_pot_of(variable), variable)
                break
    for aim in TOOL_AIMS:
        pots = by_field.get(aim.signal, {})
        if len(pots) < 2:
            continue
        for key, variable in pots.items():
            candidate = _candidate(aim, variable, courses.get(variable.node))
            if candidate is not None:
                yield _tool(aim, [candidate], key, None)


def _pot_of(variable: Variable) -> str:
    """The last number in the name or, without one, in the folder's name."""
    for _, step in reversed(variable.path[-2:]):
        found = _POT.findall(step)
        if found:
            return str(int(found[-1]))
    return "0"


def _tool(
    aim: Aim, candidates: Sequence[Candidate], pot: str, at: int | None, is_basis_told: bool = False
) -> Proposal:
    first = candidates[0]
    values: dict[str, str | bool] | None = None
    question = ""
    is_first = at in (None, 0)
    if TOOL_FIELDS[aim.signal].kind is Kind.ENUM:
        table, question = codes_of(aim.signal, first.variable, None, None)
        values = table or None
        # every pot has its own table to be put right
        question = question if is_first or not question else "as for the first pot"
    elif aim.signal in ("used", "remaining") and is_first and not is_basis_told:
        question = "in what is the life counted: uses, seconds, metres? Give the unit, or a life_basis"
    sureness: Sureness = "guess" if values and not first.variable.texts else _sureness(candidates)
    return Proposal(
        tool_signal(pot, aim.signal), first.variable, sureness, "; ".join(first.reasons),
        question, tuple(c.variable.node for c in candidates[1 : 1 + MOST_RIVALS]),
        index=at, values=values,
    )  # fmt: skip
