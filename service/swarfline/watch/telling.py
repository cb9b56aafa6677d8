"""What an alert says, told again in the reader's language."""

from __future__ import annotations

from collections.abc import Mapping

from swarfline.sentence import Tongue
from swarfline.watch.rules import RULES

_SAY = {rule.name: rule.say for rule in RULES}


def retold(rule: str, machine: str, text: str, detail: Mapping[str, object], tongue: Tongue) -> str:
    """``text``, as the rule wrote it in English, in another language.

    Where the detail does not give the same text again, as that of an alert which an older version raised, the text
    stays as it was written.
    """
    say = _SAY.get(rule)
    if say is None:
        return text
    try:
        sentence = say({**detail, "machine": machine})
        return sentence.told(tongue.translate, tongue.number) if sentence.told() == text else text
    except (KeyError, TypeError, ValueError, AttributeError, ArithmeticError):
        return text
