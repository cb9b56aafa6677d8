"""Metric families as OpenMetrics 1.0 text (the OpenMetrics specification, text format)."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

MEDIA_TYPE = "application/openmetrics-text; version=1.0.0; charset=utf-8"

_ESCAPES = str.maketrans({"\\": "\\\\", '"': '\\"', "\n": "\\n"})
_SUFFIXES = {"counter": "_total", "info": "_info"}


@dataclass(slots=True)
class Family:
    """Samples of one name. ``unit``, where there is one, ends the name; what is not known has no sample."""

    name: str
    kind: Literal["counter", "gauge", "info", "stateset"]
    about: str
    unit: str = ""
    samples: list[tuple[Mapping[str, str], float]] = field(default_factory=list)

    def add(self, labels: Mapping[str, str], value: float | None) -> None:
        """One sample; None: not known, so none."""
        if value is not None:
            self.samples.append((labels, value))

    def add_state(self, labels: Mapping[str, str], states: Sequence[str], current: str) -> None:
        """One sample for each state, 1 for the current one."""
        for state in states:
            self.samples.append(({**labels, self.name: state}, int(state == current)))


def exposition(families: Iterable[Family]) -> str:
    """The whole text; families without samples are told by name all the same."""
    lines = [line for family in families for line in _lines(family)]
    return "\n".join([*lines, "# EOF", ""])


def _lines(family: Family) -> Iterable[str]:
    yield f"# TYPE {family.name} {family.kind}"
    if family.unit:
        yield f"# UNIT {family.name} {family.unit}"
    yield f"# HELP {family.name} {family.about.translate(_ESCAPES)}"
    name = family.name + _SUFFIXES.get(family.kind, "")
    for labels, value in family.samples:
        told = ",".join(f'{key}="{text.translate(_ESCAPES)}"' for key, text in labels.items())
        yield f"{name}{{{told}}} {value}" if told else f"{name} {value}"
