"""The judge: what rules see now, against the alerts that stand, gives what changes.

There is one alert per rule, machine and subject at a time. Pure: the same input gives the same changes.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from swarfline.alerts import Alert, Sighting


@dataclass(frozen=True, slots=True)
class Changes:
    """Alerts to record: newly raised, cleared now, and standing ones whose severity or text is another."""

    raised: tuple[Alert, ...] = ()
    cleared: tuple[Alert, ...] = ()
    updated: tuple[Alert, ...] = ()

    def __bool__(self) -> bool:
        return bool(self.raised or self.cleared or self.updated)


def judge(standing: Sequence[Alert], sightings: Iterable[Sighting], now_us: int) -> Changes:
    """What ``sightings`` change about the ``standing`` alerts (cleared ones among them are passed over).

    A rule that looks at a machine sees all of its subjects: one that it no longer sees, while it sees others of
    the same machine, is gone, and its alert is cleared. A machine that was not looked at keeps its alerts. Of
    several sightings of one subject the last counts.
    """
    seen = {(s.rule, s.machine, s.subject): s for s in sightings}
    stands = {alert.subject_key: alert for alert in standing if alert.cleared_us is None}
    looked_at = {key[:2] for key in seen}
    raised = [_alert(s, now_us) for key, s in seen.items() if s.active and key not in stands]
    cleared: list[Alert] = []
    updated: list[Alert] = []
    for key, alert in stands.items():
        sighting = seen.get(key)
        if _is_over(sighting, key[:2] in looked_at):
            cleared.append(replace(alert, cleared_us=now_us))
        elif sighting is not None and sighting.active and _differs(alert, sighting):
            updated.append(
                replace(alert, severity=sighting.severity, text=sighting.text, detail=dict(sighting.detail))
            )
    return Changes(tuple(raised), tuple(cleared), tuple(updated))


def _is_over(sighting: Sighting | None, looked_at: bool) -> bool:
    if sighting is None:
        return looked_at
    return sighting.clear and not sighting.active


def _alert(s: Sighting, now_us: int) -> Alert:
    return Alert(s.rule, s.machine, s.subject, s.severity, s.text, now_us, None, dict(s.detail))


def _differs(alert: Alert, sighting: Sighting) -> bool:
    return (alert.severity, alert.text) != (sighting.severity, sighting.text)
