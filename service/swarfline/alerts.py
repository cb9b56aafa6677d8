"""The Alert: what Swarfline raises, in the words of OPC 10000-9."""

from __future__ import annotations

from dataclasses import dataclass, field

INFORMATION, WARNING, URGENT = "information", "warning", "urgent"
SEVERITIES = (INFORMATION, WARNING, URGENT)


@dataclass(frozen=True, slots=True)
class Sighting:
    """What a rule sees now about one subject of one machine.

    ``active`` says whether the rule holds; ``clear`` whether it is safely past its hysteresis. Neither true:
    whatever was before stays.
    """

    rule: str
    machine: str
    subject: str
    active: bool
    clear: bool
    severity: str = WARNING
    text: str = ""
    detail: dict[str, object] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Alert:
    """One alert per rule, machine and subject at a time; cleared_us is None while it stands."""

    rule: str
    machine: str
    subject: str
    severity: str
    text: str
    raised_us: int
    cleared_us: int | None = None
    detail: dict[str, object] = field(default_factory=dict)

    @property
    def subject_key(self) -> tuple[str, str, str]:
        """What there is only one standing alert for."""
        return (self.rule, self.machine, self.subject)
