"""The Alert: what Swarfline raises, in the words of OPC 10000-9, and what became of it. Standard library only.

The collector raises, changes and clears; people acknowledge and shelve. Neither undoes what the other did, but for
one thing: an alert that becomes more severe is a new thing to know, and is not acknowledged any more.
Who acknowledged by mistake takes it back.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

INFORMATION, WARNING, URGENT = "information", "warning", "urgent"
SEVERITIES = (INFORMATION, WARNING, URGENT)
"""From the least to the most severe."""

RAISED, RAISED_AGAIN, SEVERITY_CHANGED, TEXT_CHANGED, CLEARED = (
    "raised",
    "raised_again",
    "severity_changed",
    "text_changed",
    "cleared",
)
ACKNOWLEDGED, ACKNOWLEDGEMENT_ENDED, UNACKNOWLEDGED = "acknowledged", "acknowledgement_ended", "unacknowledged"
SHELVED, UNSHELVED, SHELVING_ENDED = "shelved", "unshelved", "shelving_ended"
EVENT_KINDS = (
    RAISED,
    RAISED_AGAIN,
    SEVERITY_CHANGED,
    TEXT_CHANGED,
    ACKNOWLEDGED,
    ACKNOWLEDGEMENT_ENDED,
    UNACKNOWLEDGED,
    SHELVED,
    UNSHELVED,
    SHELVING_ENDED,
    CLEARED,
)
"""Everything that can happen to an alert."""
BY_PEOPLE = (ACKNOWLEDGED, UNACKNOWLEDGED, SHELVED, UNSHELVED)
"""Those that a person does."""


@dataclass(frozen=True, slots=True)
class Sighting:
    """What a rule sees now about one subject of one machine.

    ``active`` says whether the rule holds; ``clear`` whether it is safely past its hysteresis. Neither true:
    whatever was before stays. ``machine`` is empty where the subject is no machine's: a server, the plant.
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
class Acknowledgement:
    """That somebody knows of an alert: who, when (µs UTC, the plant's present), and why or what is done."""

    who: str
    at_us: int
    note: str = ""


@dataclass(frozen=True, slots=True)
class Shelving:
    """That an alert is set aside until ``until_us``: by whom, when and why."""

    until_us: int
    who: str
    at_us: int
    note: str = ""


@dataclass(frozen=True, slots=True)
class Alert:
    """One alert per rule, machine and subject at a time; ``cleared_us`` is None while it stands.

    ``machine`` is empty for alerts of a server (subject ``server/ID``) or of the plant. ``times`` counts how
    often it was raised: one that comes back soon is the same. ``raised_us`` is the first time, ``again_us`` the
    last one, None for once; ``changed_us`` when severity or text last changed. ``shelved`` may lie in the past.
    ``number`` is the store's, 0 before it is stored.
    """

    rule: str
    machine: str
    subject: str
    severity: str
    text: str
    raised_us: int
    cleared_us: int | None = None
    detail: dict[str, object] = field(default_factory=dict)
    times: int = 1
    again_us: int | None = None
    changed_us: int | None = None
    acknowledged: Acknowledgement | None = None
    shelved: Shelving | None = None
    number: int = field(default=0, compare=False)

    @property
    def subject_key(self) -> tuple[str, str, str]:
        """What there is only one standing alert for."""
        return (self.rule, self.machine, self.subject)

    @property
    def stands(self) -> bool:
        """Whether it was not cleared."""
        return self.cleared_us is None

    @property
    def since_us(self) -> int:
        """Since when it stands, or stood last."""
        return self.raised_us if self.again_us is None else self.again_us

    @property
    def shelved_until_us(self) -> int | None:
        """When its last shelving ends or ended; None: it was not shelved."""
        return None if self.shelved is None else self.shelved.until_us

    def is_shelved(self, now_us: int) -> bool:
        """Whether it is set aside at a moment."""
        return self.shelved is not None and now_us < self.shelved.until_us


@dataclass(frozen=True, slots=True)
class AlertEvent:
    """What happened to an alert: one of EVENT_KINDS, when (µs UTC), and how it stood then.

    ``who`` and ``note`` where a person did it, ``until_us`` of a shelving. A text that changes over and over makes
    one event with its newest text. ``detail`` is what the text was made of, empty where that was not kept.
    """

    kind: str
    at_us: int
    severity: str
    text: str
    who: str = ""
    note: str = ""
    until_us: int | None = None
    detail: dict[str, object] = field(default_factory=dict)


def more_severe(one: str, other: str) -> bool:
    """Whether a severity is above another; one that is not known is below all."""
    return _rank(one) > _rank(other)


def _rank(severity: str) -> int:
    return SEVERITIES.index(severity) if severity in SEVERITIES else -1


def by_urgency(alerts: Iterable[Alert], now_us: int) -> list[Alert]:
    """In the order of what asks for somebody first: not shelved, severe, not acknowledged, new."""
    return sorted(
        alerts,
        key=lambda a: (
            a.is_shelved(now_us),
            -_rank(a.severity),
            a.acknowledged is not None,
            -a.since_us,
            -a.number,
        ),
    )


def happened(before: Alert | None, after: Alert, at_us: int) -> list[AlertEvent]:
    """What an alert's new state tells about the one before it, None: there was none.

    ``at_us`` is for changes that bring no time of their own.
    """
    events: list[AlertEvent] = []

    def tell(kind: str, when_us: int | None) -> None:
        told_us = at_us if when_us is None else when_us
        events.append(AlertEvent(kind, told_us, after.severity, after.text, detail=after.detail))

    if before is None:
        tell(RAISED, after.raised_us)
    else:
        if after.times > before.times:
            tell(RAISED_AGAIN, after.again_us)
        if after.severity != before.severity:
            tell(SEVERITY_CHANGED, after.changed_us)
        elif after.text != before.text and after.times == before.times:
            tell(TEXT_CHANGED, after.changed_us)
    if after.cleared_us is not None and (before is None or before.cleared_us is None):
        tell(CLEARED, after.cleared_us)
    return events


def story(events: Sequence[AlertEvent], now_us: int) -> list[AlertEvent]:
    """The events of one alert as they were kept, with those that nobody writes because they follow from others:
    a shelving came to its end, an acknowledgement ended with a higher severity."""
    teller = _Teller()
    for event in events:
        teller.tell(event)
    teller.end_shelving(now_us)
    return teller.told


class _Teller:
    def __init__(self) -> None:
        self.told: list[AlertEvent] = []
        self._shelved: AlertEvent | None = None
        self._acknowledged = False
        self._severity = ""

    def tell(self, event: AlertEvent) -> None:
        self.end_shelving(event.at_us)
        self.told.append(event)
        if event.kind in (SHELVED, UNSHELVED):
            self._shelved = event
        if event.kind in (ACKNOWLEDGED, UNACKNOWLEDGED):
            self._acknowledged = event.kind == ACKNOWLEDGED
        elif self._acknowledged and more_severe(event.severity, self._severity):
            ended = AlertEvent(ACKNOWLEDGEMENT_ENDED, event.at_us, event.severity, event.text, detail=event.detail)
            self.told.append(ended)
            self._acknowledged = False
        self._severity = event.severity

    def end_shelving(self, now_us: int) -> None:
        shelved = self._shelved
        if shelved is None or shelved.until_us is None or shelved.until_us > now_us:
            return
        last = self.told[-1]
        ended = AlertEvent(SHELVING_ENDED, shelved.until_us, self._severity, last.text, detail=last.detail)
        self.told.append(ended)
        self._shelved = None
