"""What codes mean: by the names of an enumeration, by words in texts, or as a guess to be decided."""

from __future__ import annotations

from collections.abc import Mapping
from statistics import fmean

from swarfline.connect.ranking.spelling import means
from swarfline.connect.ranking.words import MEANINGS
from swarfline.connect.sighting import Course, Variable

USUAL: Mapping[str, str] = {
    "state": "executing", "mode": "automatic", "program_state": "running", "life_basis": "count",
}  # fmt: skip
"""What the only code seen most probably means on a machine that works."""
IDLE: Mapping[str, str] = {
    "state": "not_executing",
    "mode": "manual",
    "program_state": "ended",
    "life_basis": "time",
}
MOST_CODES = 20


def meaning(signal: str, text: str) -> str | None:
    """Our value for a text that a machine shows, None where no word is known."""
    found = [value for value, stems in MEANINGS[signal].items() if means(text, stems)]
    return found[-1] if len(found) > 1 and found[0] in ("executing", "running") else (found[0] if found else None)


def codes_of(
    signal: str, variable: Variable, course: Course | None, work: Course | None
) -> tuple[dict[str, str | bool], str]:
    """(value table, question) of a variable with codes; ``work`` is the course of power or spindle speed."""
    if variable.texts:
        table = {code: known for code, text in variable.texts.items() if (known := meaning(signal, text))}
        open_ones = [f"{code} ({text})" for code, text in variable.texts.items() if code not in table]
        return dict(table), f"what do these mean: {', '.join(open_ones)[:200]}?" if open_ones else ""
    seen = _seen(variable, course)
    if not seen:
        return {}, "which code means what?"
    if all(isinstance(code, str) for code in seen):
        told = {str(code): meaning(signal, str(code)) for code in seen}
        table = {code: value for code, value in told.items() if value}
        if len(table) == len(seen):
            return dict(table), "other texts than those seen may come: what do they mean?"
    busiest = _busiest(seen, course, work)
    guess = {_text(code): USUAL[signal] if code == busiest else IDLE[signal] for code in seen[:MOST_CODES]}
    shown = ", ".join(_text(code) for code in seen[:MOST_CODES])
    return dict(guess), f"which code means what? Seen: {shown}; the machine's manual names the others"


def _text(code: object) -> str:
    return str(code)[:40]


def _seen(variable: Variable, course: Course | None) -> list[object]:
    values = [value for _, value in course.samples] if course is not None else []
    if variable.value is not None and not isinstance(variable.value, list):
        values.append(variable.value)
    if isinstance(variable.value, list):
        values += variable.value
    return list(dict.fromkeys(v for v in values if isinstance(v, int | str)))


def _busiest(seen: list[object], course: Course | None, work: Course | None) -> object:
    """The code during which most was done; the newest where that cannot be told."""
    if course is None or work is None or len(seen) < 2:
        return seen[-1] if course is None else course.samples[-1][1]
    done: dict[object, list[float]] = {code: [] for code in seen}
    changes = list(course.samples)
    for at_us, amount in work.samples:
        before = [value for us, value in changes if us <= at_us]
        if before and isinstance(amount, int | float) and before[-1] in done:
            done[before[-1]].append(float(amount))
    means_of = {code: fmean(amounts) for code, amounts in done.items() if amounts}
    return max(means_of, key=lambda code: means_of[code]) if means_of else seen[-1]
