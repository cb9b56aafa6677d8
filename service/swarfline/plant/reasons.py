"""Checks of the rules that give stops their reasons: patterns, lengths, and rules that are never come to."""

from __future__ import annotations

from collections.abc import Iterator

from swarfline.plant.model import Plant
from swarfline.plant.wording import unknown


def reason_errors(plant: Plant) -> Iterator[str]:
    """One line per rule that cannot do what it says, in the file's order."""
    known = [m.id for m in plant.machines]
    everything: int | None = None
    for number, rule in enumerate(plant.stop_reasons, 1):
        where = f"[[stop_reasons]] no. {number}"
        if rule.by_hand:
            for key in sorted(
                {"alarm_code", "alarm_text", "min_length_s", "max_length_s"} & rule.model_fields_set
            ):
                yield f"{where}: key {key!r} = {getattr(rule, key)!r}: means nothing beside by_hand = true"
        elif everything is not None:
            yield f"{where}: is never come to: no. {everything} asks for nothing, so it fits every stop"
        elif rule.model_fields_set == {"reason"}:
            everything = number
        for machine in rule.machines:
            if machine not in known:
                yield f"{where}: key 'machines': {unknown('machine', machine, known)}"
        for key, pattern in (("alarm_code", rule.alarm_code), ("alarm_text", rule.alarm_text)):
            for problem in pattern_problems(pattern or "*"):
                yield f"{where}: key {key!r} = {pattern!r}: {problem}"
        least, most = rule.min_length_s, rule.max_length_s
        if least is not None and most is not None and most < least:
            yield f"{where}: key 'max_length_s' = {most}: is less than 'min_length_s' {least}"


def pattern_problems(pattern: str) -> Iterator[str]:
    """What is wrong with a pattern of ``*``, ``?`` and ``[…]``."""
    if not pattern.strip():
        yield "is blank; * stands for any text"
    at = pattern.find("[")
    while at >= 0:
        # a bracket that closes at once, or after "!", is meant itself
        begin = at + 2 if pattern[at + 1 : at + 2] == "!" else at + 1
        end = pattern.find("]", begin + 1)
        if end < 0:
            yield "'[' is not closed; a bracket itself is written [[]"
            return
        yield from _reversed(pattern[begin:end].casefold())
        at = pattern.find("[", end)


def _reversed(inside: str) -> Iterator[str]:
    for first, dash, last in zip(inside, inside[1:], inside[2:], strict=False):
        if dash == "-" and first > last:
            yield f"[{first}-{last}] holds nothing: {last!r} comes before {first!r}"
