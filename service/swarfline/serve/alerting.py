"""What people do with alerts, for API, page and command line alike: acknowledge, shelve, and take either back."""

from __future__ import annotations

from collections.abc import Callable
from http import HTTPStatus

from swarfline.alerts import INFORMATION, URGENT, WARNING, Acknowledgement, Alert, Shelving
from swarfline.sentence import N_, Sentence
from swarfline.serve.problems import RefusedError, missing, unwritable, wrong
from swarfline.serve.room import Room
from swarfline.serve.spans import latest_shift
from swarfline.serve.times import parse, show
from swarfline.store import StoreError

SHIFT = "shift"
_MINUTE_US = 60_000_000
_ENDS = N_("'minutes' or 'until', one of the two")


def one(room: Room, number: int) -> Alert:
    """An alert by its number; ends the request with 404 where there is none."""
    found = room.queries.alert(number)
    if found is None:
        raise missing(N_("alert"), str(number), ["/alerts lists them"])
    return found


def acknowledge(room: Room, number: int, who: str, note: str, seen: str | None = None) -> Alert:
    """Somebody knows of it. ``seen`` is the severity that they saw: a higher one is not acknowledged by it."""
    one(room, number)
    said = Acknowledgement(who, room.now_us(), note)
    _write(room, number, lambda: room.store.alerting().acknowledge(number, said, seen), _unfit_to_acknowledge)
    return one(room, number)


def unacknowledge(room: Room, number: int, who: str, note: str) -> Alert:
    """Take an acknowledgement back, as one given by mistake: nobody knows of it again."""
    one(room, number)
    said = Acknowledgement(who, room.now_us(), note)
    _write(room, number, lambda: room.store.alerting().unacknowledge(number, said), _unfit_to_unacknowledge)
    return one(room, number)


def shelve(room: Room, number: int, who: str, note: str, minutes: float | None, until: str | None) -> Alert:
    """Set it aside for some minutes, or until a time or the shift's end."""
    alert = one(room, number)
    now_us = room.now_us()
    said = Shelving(shelved_until(room, alert, minutes, until, now_us), who, now_us, note)
    _write(room, number, lambda: room.store.alerting().shelve(number, said), _unfit_to_shelve)
    return one(room, number)


def unshelve(room: Room, number: int, who: str, note: str) -> Alert:
    """Take it back from the shelf before its time."""
    one(room, number)
    said = Acknowledgement(who, room.now_us(), note)
    _write(room, number, lambda: room.store.alerting().unshelve(number, said), _unfit_to_unshelve)
    return one(room, number)


def shelved_until(room: Room, alert: Alert, minutes: float | None, until: str | None, now_us: int) -> int:
    """When a shelving that begins now is to end, µs UTC; ends the request with 422 for what cannot be meant."""
    if (minutes is None) == (until is None):
        raise wrong("minutes" if minutes is None else "until", N_("is missing or one too many"), _ENDS)
    longest_h = room.plant.alerts.longest_shelving_h
    most_us = round(longest_h * 60 * _MINUTE_US)
    name, end_us = "minutes", now_us + round((minutes or 0) * _MINUTE_US)
    if until is not None:
        name, end_us = "until", _shift_end(room, alert, now_us) if until == SHIFT else _moment(until)
    if end_us <= now_us:
        raise wrong(name, N_("the shelving would end before it begins"), N_("an end that lies ahead"))
    if end_us - now_us > most_us:
        raise wrong(
            name,
            Sentence(N_("is longer than {longest_h:g} h"), {"longest_h": longest_h}),
            Sentence(
                N_("at most {longest_h:g} h (longest_shelving_h of [alerts] in the plant file)"),
                {"longest_h": longest_h},
            ),
        )
    return end_us


def _shift_end(room: Room, alert: Alert, now_us: int) -> int:
    machines = [m.id for m in room.plant.machines]
    chosen = [alert.machine] if alert.machine in machines else machines
    shift = latest_shift(room, chosen, now_us)
    if shift is None or shift.end_us <= now_us:
        raise wrong("until", N_("no shift runs now"), N_("minutes, or an RFC 3339 time"))
    return shift.end_us


def _moment(text: str) -> int:
    try:
        return parse(text)
    except ValueError as problem:
        raise wrong(
            "until",
            str(problem),
            Sentence(N_("{shift} or an RFC 3339 time with an offset"), {"shift": repr(SHIFT)}),
        ) from None


def _write(room: Room, number: int, write: Callable[[], bool], unfit: Callable[[Room, Alert], Sentence]) -> None:
    """Ends the request with 409 where it does not apply any more, with 503 where nothing can be written."""
    try:
        done = write()
    except StoreError as problem:
        raise unwritable(problem) from None
    if not done:
        alert = one(room, number)
        raise RefusedError(HTTPStatus.CONFLICT, unfit(room, alert))


def _cleared(room: Room, alert: Alert) -> Sentence | None:
    if alert.cleared_us is None:
        return None
    told = {"number": str(alert.number), "time": show(alert.cleared_us, room.zone)}
    return Sentence(N_("Alert {number} was cleared at {time} already."), told)


_SEVERITIES = {
    INFORMATION: Sentence(N_("information")),
    WARNING: Sentence(N_("warning")),
    URGENT: Sentence(N_("urgent")),
}


def _unfit_to_acknowledge(room: Room, alert: Alert) -> Sentence:
    known, number = alert.acknowledged, str(alert.number)
    if alert.stands and known is not None:
        told = {"number": number, "who": known.who, "time": show(known.at_us, room.zone)}
        return Sentence(N_("Alert {number} was acknowledged by {who} at {time} already."), told)
    return _cleared(room, alert) or Sentence(
        N_("Alert {number} has become more severe: {severity} now. Look again."),
        {"number": number, "severity": _SEVERITIES[alert.severity]},
    )


def _unfit_to_unacknowledge(room: Room, alert: Alert) -> Sentence:
    text = N_("Alert {number} is not acknowledged (any more).")
    return _cleared(room, alert) or Sentence(text, {"number": str(alert.number)})


def _unfit_to_shelve(room: Room, alert: Alert) -> Sentence:
    text = N_("Alert {number} was changed meanwhile. Look again.")
    return _cleared(room, alert) or Sentence(text, {"number": str(alert.number)})


def _unfit_to_unshelve(room: Room, alert: Alert) -> Sentence:
    return Sentence(N_("Alert {number} is not shelved (any more)."), {"number": str(alert.number)})
