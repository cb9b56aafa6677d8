"""Which channel is told what of the alerts, and when. Pure: the same input gives the same messages, keys included.

Times of alerts are the plant's present, times of messages our own clock: they differ only where the plant runs on
a server's clock.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import time, timedelta
from math import isfinite
from zoneinfo import ZoneInfo

from swarfline.alerts import SEVERITIES, URGENT, Alert, more_severe
from swarfline.calendar import from_us, local_us
from swarfline.messages import ALERT, LONGEST_SUBJECT, Message
from swarfline.sentence import ENGLISH, N_, Tongue
from swarfline.watch.telling import retold

ALERTED, AGAIN, WORSE, CLEARED, ESCALATED = "raised", "raised_again", "worse", "cleared", "escalated"
EVENTS = (ALERTED, AGAIN, WORSE, CLEARED, ESCALATED)
"""What is told of an alert."""

CAUTION = N_(
    "This is information, not a safety function: do not rely on it to protect anybody; it may come late or not at "
    "all. Tool changes and work inside a machine are for qualified people, with the machine locked out, by the "
    "machine builder's manual and the local rules."
)
_HEADS = {
    ALERTED: N_("{severity} alert, raised {since}"),
    AGAIN: N_("{severity} alert, back since {again}; it was raised {since}"),
    WORSE: N_("Now {severity}; the alert was raised {since}"),
    CLEARED: N_("Over since {until}; the alert was raised {since}"),
    ESCALATED: N_("Nobody has acknowledged this {severity} alert, raised {since}"),
}
SHORT = {
    ALERTED: "{severity}",
    AGAIN: N_("back, {severity}"),
    WORSE: N_("now {severity}"),
    CLEARED: N_("over"),
    ESCALATED: N_("not acknowledged, {severity}"),
}
"""An event in a heading, before what the alert says."""


@dataclass(frozen=True, slots=True)
class Quiet:
    """Silence by times of day; an end at or before the start lies on the next day. ISO days, of the start."""

    start: time
    end: time
    days: frozenset[int] = frozenset(range(1, 8))


@dataclass(frozen=True, slots=True)
class Wish:
    """What one channel wants to be told. Empty ``rules``: of every one; ``places`` None: of all.

    ``places`` are machines and, as ``server/ID``, servers; alerts of the plant itself are told everywhere.
    ``collect_us`` and ``daily`` put messages off so that they are told together. ``tongue`` is the language of
    subject and text; the data is the same in all.
    """

    channel: str
    severities: frozenset[str] = frozenset(SEVERITIES)
    rules: frozenset[str] = frozenset()
    places: frozenset[str] | None = None
    alerts: bool = True
    cleared: bool = True
    quiet: Quiet | None = None
    collect_us: int | None = None
    daily: time | None = None
    urgent_at_once: bool = True
    escalate_to: str | None = None
    escalate_us: int = 0
    tongue: Tongue = ENGLISH

    def wants(self, alert: Alert) -> bool:
        """Whether the channel is told of this alert."""
        if (
            not self.alerts
            or alert.severity not in self.severities
            or (self.rules and alert.rule not in self.rules)
        ):
            return False
        place = alert.machine or alert.subject
        everywhere = self.places is None or not (alert.machine or alert.subject.startswith("server/"))
        return everywhere or place in (self.places or ())


@dataclass(frozen=True, slots=True)
class Terms:
    """What all messages have in common: the plant's name, its zone, what each channel wants, and where the page of
    alerts is shown, empty where that is not known."""

    plant: str
    zone: ZoneInfo
    wishes: tuple[Wish, ...]
    page: str = ""

    def wish(self, channel: str) -> Wish:
        """What one channel wants; raises KeyError."""
        return {wish.channel: wish for wish in self.wishes}[channel]


def notices(
    raised: Iterable[Alert],
    changed: Iterable[Alert],
    before: Iterable[Alert],
    terms: Terms,
    plant_now_us: int,
    now_us: int,
) -> list[Message]:
    """Messages about alerts that were raised, came back, became more severe, or were cleared.

    ``raised`` and ``changed`` are what is stored along, ``before`` the alerts as they were. Nothing is told of
    alerts that are shelved.
    """
    known = {(*alert.subject_key, alert.raised_us): alert for alert in before}
    told = [(ALERTED, alert) for alert in raised]
    for alert in changed:
        event = _event(alert, known.get((*alert.subject_key, alert.raised_us)))
        told += [] if event is None else [(event, alert)]
    return [
        _message(event, alert, wish, terms, now_us)
        for event, alert in told
        if not alert.is_shelved(plant_now_us)
        for wish in terms.wishes
        # who is not told that it was over is not told that it is back
        if wish.wants(alert) and (wish.cleared or event not in (CLEARED, AGAIN))
    ]


def _event(alert: Alert, before: Alert | None) -> str | None:
    """What a change of an alert tells; None: nothing that anybody has to be told."""
    if not alert.stands:
        return CLEARED
    if before is None:
        return None
    if more_severe(alert.severity, before.severity):
        return WORSE
    return AGAIN if alert.times > before.times else None


def escalations(standing: Iterable[Alert], terms: Terms, plant_now_us: int, now_us: int) -> list[Message]:
    """Messages about alerts that have stood too long without anybody having acknowledged them.

    The same ones come at every call; their keys tell that they were queued.
    """
    return [
        _message(ESCALATED, alert, wish, terms, now_us)
        for alert in standing
        if alert.stands and alert.acknowledged is None and not alert.is_shelved(plant_now_us)
        for wish in _reached(alert, terms, plant_now_us - alert.since_us)
    ]


def _reached(alert: Alert, terms: Terms, age_us: int) -> list[Wish]:
    """The channels that an alert of this age has escalated to: from one to the next, each once."""
    told = [wish for wish in terms.wishes if wish.wants(alert)]
    reached: list[Wish] = []
    for wish in told:
        if wish.escalate_to is not None and age_us >= wish.escalate_us:
            following = terms.wish(wish.escalate_to)
            if following not in reached:
                reached.append(following)
                # the list grows while it is walked: who is told now may escalate in turn
                told.append(following)
    return reached


def not_before_us(wish: Wish, severity: str, zone: ZoneInfo, now_us: int) -> int:
    """When a message of this severity may be sent: the end of its collection, and of quiet hours; else now."""
    if severity == URGENT and wish.urgent_at_once:
        return now_us
    at_us = now_us
    if wish.collect_us is not None:
        at_us = (now_us // wish.collect_us + 1) * wish.collect_us
    elif wish.daily is not None:
        at_us = _next(wish.daily, zone, now_us)
    return at_us if wish.quiet is None else quiet_end_us(wish.quiet, zone, at_us)


def _next(clock: time, zone: ZoneInfo, now_us: int) -> int:
    today = from_us(now_us, zone).date()
    days = (today + timedelta(days=ahead) for ahead in range(3))
    return next(us for us in (local_us(day, clock, zone) for day in days) if us > now_us)


def quiet_end_us(quiet: Quiet, zone: ZoneInfo, at_us: int) -> int:
    """When the quiet hours that hold a moment end; the moment itself outside of them.

    Those that follow without a break are one; where they never end, after a week of them.
    """
    end_us = at_us
    for _ in range(8):
        held = [end for start, end in _quiet_spans(quiet, zone, end_us) if start <= end_us < end]
        if not held:
            break
        end_us = max(held)
    return end_us


def _quiet_spans(quiet: Quiet, zone: ZoneInfo, at_us: int) -> Iterator[tuple[int, int]]:
    today = from_us(at_us, zone).date()
    for day in (today - timedelta(days=1), today):
        if day.isoweekday() in quiet.days:
            last = day + timedelta(days=int(quiet.end <= quiet.start))
            yield local_us(day, quiet.start, zone), local_us(last, quiet.end, zone)


def _message(event: str, alert: Alert, wish: Wish, terms: Terms, now_us: int) -> Message:
    tongue = wish.tongue
    words = {
        "severity": tongue.translate(alert.severity),
        "since": _shown(alert.raised_us, terms.zone),
        "again": _shown(alert.since_us, terms.zone),
        "until": _shown(alert.cleared_us, terms.zone),
    }
    short = tongue.translate(SHORT[event]).format(**words)
    said = retold(alert.rule, alert.machine, alert.text, alert.detail, tongue)
    return Message(
        wish.channel,
        _key(event, alert, terms.plant),
        f"{terms.plant}: {short}: {said}"[:LONGEST_SUBJECT],
        "\n".join([*_lines(event, alert, said, words, terms.page, tongue), "", tongue.translate(CAUTION), ""]),
        now_us,
        ALERT,
        data=_data(event, alert, terms),
        not_before_us=not_before_us(wish, alert.severity, terms.zone, now_us),
    )


def _lines(event: str, alert: Alert, said: str, words: dict[str, str], page: str, tongue: Tongue) -> list[str]:
    say = tongue.translate
    head = say(_HEADS[event]).format(**words)
    where, name = (N_("Machine: {name}"), alert.machine) if alert.machine else (N_("About: {name}"), alert.subject)
    more = [say(N_("All alerts: {page}")).format(page=page)] if page else []
    rule = say(N_("Rule: {rule}")).format(rule=alert.rule)
    return [head[:1].upper() + head[1:], "", said, "", say(where).format(name=name), rule, *more]


def _data(event: str, alert: Alert, terms: Terms) -> dict[str, object]:
    return {
        "event": event,
        "plant": terms.plant,
        "story": _key(ALERTED, alert, terms.plant),
        "number": alert.number or None,
        "rule": alert.rule,
        "machine": alert.machine or None,
        "subject": alert.subject,
        "severity": alert.severity,
        "text": alert.text,
        "times": alert.times,
        "raised": _time(alert.raised_us, terms.zone),
        "cleared": None if alert.cleared_us is None else _time(alert.cleared_us, terms.zone),
        "detail": {name: _plain(value) for name, value in alert.detail.items()},
    }


def _plain(value: object) -> object:
    """JSON knows no infinity."""
    return None if isinstance(value, float) and not isfinite(value) else value


def _key(event: str, alert: Alert, plant: str) -> str:
    told = [plant, alert.rule, alert.machine, alert.subject, alert.raised_us]
    if event == CLEARED:
        told.append(alert.cleared_us)
    elif event != ALERTED:
        told += [alert.severity, alert.times]
    return key_of(event, told)


def key_of(event: str, told: object) -> str:
    """A key for what is told: the event, and a digest, for names of machines may hold anything."""
    return f"{event}-{hashlib.sha256(json.dumps(told).encode()).hexdigest()[:32]}"


def _time(us: int, zone: ZoneInfo) -> str:
    return from_us(us, zone).isoformat(timespec="milliseconds")


def _shown(us: int | None, zone: ZoneInfo) -> str:
    return "" if us is None else from_us(us, zone).isoformat(sep=" ", timespec="seconds")
