"""The judge: what rules see now, against the alerts that are known, gives what changes.

There is one alert per rule, machine and subject at a time. Pure: the same input gives the same changes.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from swarfline.alerts import Alert, Sighting, more_severe

Key = tuple[str, str, str]


@dataclass(frozen=True, slots=True)
class Changes:
    """Alerts to record: newly raised, cleared now, standing ones whose severity or text is another, and ones that
    had been cleared and stand again, as the same story."""

    raised: tuple[Alert, ...] = ()
    cleared: tuple[Alert, ...] = ()
    updated: tuple[Alert, ...] = ()
    again: tuple[Alert, ...] = ()

    def __bool__(self) -> bool:
        return bool(self.raised or self.changed)

    @property
    def changed(self) -> tuple[Alert, ...]:
        """Those of them that were stored before."""
        return (*self.cleared, *self.updated, *self.again)


def judge(known: Sequence[Alert], sightings: Iterable[Sighting], now_us: int, again_within_us: int = 0) -> Changes:
    """What ``sightings`` change about the ``known`` alerts: those that stand, and cleared ones that may come back.

    A rule that looks at a machine sees all of its subjects: one that it no longer sees, while it sees others of
    the same machine, is gone, and its alert is cleared. A machine that was not looked at keeps its alerts. Of
    several sightings of one subject the last counts. What is seen anew within ``again_within_us`` after it was
    cleared, or while it is shelved, is the same alert once more, with its acknowledgement and shelving.
    """
    seen = {(s.rule, s.machine, s.subject): s for s in sightings}
    stands = {alert.subject_key: alert for alert in known if alert.stands}
    returning = _returning(known, now_us, again_within_us)
    looked_at = {key[:2] for key in seen}
    raised: list[Alert] = []
    again: list[Alert] = []
    for key, sighting in seen.items():
        if sighting.active and key not in stands:
            if key in returning:
                again.append(_again(returning[key], sighting, now_us))
            else:
                raised.append(_alert(sighting, now_us))
    cleared: list[Alert] = []
    updated: list[Alert] = []
    for key, alert in stands.items():
        found = seen.get(key)
        if _is_over(found, key[:2] in looked_at):
            cleared.append(replace(alert, cleared_us=now_us))
        elif found is not None and found.active and _differs(alert, found):
            updated.append(_told(alert, found, now_us))
    return Changes(tuple(raised), tuple(cleared), tuple(updated), tuple(again))


def _returning(known: Iterable[Alert], now_us: int, within_us: int) -> dict[Key, Alert]:
    """The newest cleared alert of each subject, where what comes back would be the same story."""
    found: dict[Key, Alert] = {}
    for alert in known:
        if alert.cleared_us is None or not (
            alert.is_shelved(now_us) or (within_us > 0 and now_us - alert.cleared_us <= within_us)
        ):
            continue
        other = found.get(alert.subject_key)
        if other is None or (other.raised_us, other.number) < (alert.raised_us, alert.number):
            found[alert.subject_key] = alert
    return found


def _is_over(sighting: Sighting | None, looked_at: bool) -> bool:
    if sighting is None:
        return looked_at
    return sighting.clear and not sighting.active


def _alert(s: Sighting, now_us: int) -> Alert:
    return Alert(s.rule, s.machine, s.subject, s.severity, s.text, now_us, None, dict(s.detail))


def _again(alert: Alert, sighting: Sighting, now_us: int) -> Alert:
    back = replace(alert, cleared_us=None, times=alert.times + 1, again_us=now_us)
    return _told(back, sighting, now_us) if _differs(back, sighting) else back


def _told(alert: Alert, s: Sighting, now_us: int) -> Alert:
    known = None if more_severe(s.severity, alert.severity) else alert.acknowledged
    return replace(
        alert, severity=s.severity, text=s.text, detail=dict(s.detail), changed_us=now_us, acknowledged=known
    )


def _differs(alert: Alert, sighting: Sighting) -> bool:
    return (alert.severity, alert.text) != (sighting.severity, sighting.text)
