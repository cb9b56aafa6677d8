"""What an alert says, told again in the reader's language."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from swarfline.watch.rules import RULES

_SAY = {rule.name: rule.say for rule in RULES}


def retold(
    rule: str,
    machine: str,
    text: str,
    detail: Mapping[str, object],
    translate: Callable[[str], str],
    number: Callable[[float, int], str],
) -> str:
    """``text``, as the rule wrote it in English, in the language of ``translate``.

    Where the detail does not give the same text again, as that of an alert which an older version raised, the text
    stays as it was written.
    """
    say = _SAY.get(rule)
    if say is None:
        return text
    try:
        sentence = say({**detail, "machine": machine})
        return sentence.told(translate, number) if sentence.told() == text else text
    except (KeyError, TypeError, ValueError, AttributeError, ArithmeticError):
        return text
