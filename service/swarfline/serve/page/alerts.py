"""The page of alerts: what stands, what is shelved, the history of a span; and the forms for people."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from http import HTTPStatus
from typing import Annotated, Any
from urllib.parse import parse_qsl, urlencode, urlsplit

from fastapi import FastAPI, Path, Request
from starlette.responses import Response

from swarfline.alerts import BY_PEOPLE, Alert, by_urgency, story
from swarfline.serve import alerting
from swarfline.serve.alerts import AcknowledgeBody, ShelveBody, UnacknowledgeBody, UnshelveBody
from swarfline.serve.page import alert_words, words
from swarfline.serve.page.board import Board
from swarfline.serve.page.choosing import Chosen, choose
from swarfline.serve.page.entering import keeping, name_kept
from swarfline.serve.page.forms import Fields, local, said, see_other, whole, why
from swarfline.serve.page.notifications import late_words
from swarfline.serve.page.pages import pages_of
from swarfline.serve.problems import RefusedError
from swarfline.serve.room import InRoom, Room
from swarfline.serve.spans import DAY, latest_shift
from swarfline.serve.tongue import gettext as _
from swarfline.serve.tongue import language
from swarfline.watch.rules import RULES, Rule

ROWS = 200
"""Rows of the history that the page shows; the table as CSV has all."""
LENGTHS_MIN = (15, 30, 60, 120, 240, 480, 1440, 4320)
"""Lengths of shelving that the form offers, as far as the plant file lets it."""
ACKNOWLEDGE, UNACKNOWLEDGE, SHELVE, UNSHELVE = "acknowledge", "unacknowledge", "shelve", "unshelve"
SEEN_TO = "seen-to"
"""What the address calls the number of the alert that a form was about."""
JUST_US = 300_000_000
"""What was done is confirmed for so long, for a page that is left open is loaded anew now and then."""

_RULES: dict[str, Rule] = {rule.name: rule for rule in RULES}
Number = Annotated[int, Path(ge=1, le=2**62)]


@dataclass(frozen=True, slots=True)
class Refused:
    """What a form said that was not taken, and why."""

    number: int
    act: str
    why: str
    told: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Done:
    """What a form has just done, in words, and the number of its alert."""

    number: int
    told: str


@dataclass(frozen=True, slots=True)
class Line:
    """One alert in words. ``about``, ``clears`` and ``todo`` are its rule's, empty where there is no such rule.

    ``step`` names the page on which to go on, ``step_link`` leads there; empty where there is none.
    """

    alert: Alert
    text: str
    severity: str
    state: str
    since: str
    note: str
    lasted: str
    raised: str
    cleared: str
    about: str
    clears: str
    todo: str
    step: str
    step_link: str
    where: str
    link: str

    @property
    def acknowledged(self) -> bool:
        """Whether somebody knows of it."""
        return self.alert.acknowledged is not None


@dataclass(frozen=True, slots=True)
class Happened:
    """One event of an alert's history in words."""

    when: str
    what: str
    who: str
    note: str
    severity: str
    text: str


def line(room: Room, alert: Alert, now_us: int) -> Line:
    """An alert as a page shows it."""
    rule = _RULES.get(alert.rule)
    shelved = alert.shelved if alert.is_shelved(now_us) else None
    said_by = shelved or alert.acknowledged
    where, link = _where(room, alert)
    end_us = now_us if alert.cleared_us is None else alert.cleared_us
    return Line(
        alert,
        alert_words.text(alert),
        alert_words.severity(alert.severity),
        alert_words.state(room, alert, now_us),
        alert_words.since(room, alert, now_us),
        said_by.note if said_by else "",
        words.length(end_us - alert.raised_us),
        words.moment(alert.raised_us, room.zone),
        words.UNKNOWN if alert.cleared_us is None else words.moment(alert.cleared_us, room.zone),
        *_advice(rule),
        *_step(room, alert),
        where,
        link,
    )


def _advice(rule: Rule | None) -> tuple[str, str, str]:
    """When it is raised and cleared, and what to do."""
    return ("", "", "") if rule is None else (_(rule.about), _(rule.clears), _(rule.todo))


def _step(room: Room, alert: Alert) -> tuple[str, str]:
    """Where to go on; nowhere for a machine that the plant file does not know any more."""
    gone = alert.machine and alert.machine not in {m.id for m in room.plant.machines}
    return ("", "") if gone else alert_words.next_step(alert)


def _where(room: Room, alert: Alert) -> tuple[str, str]:
    """What an alert is about, and the page that tells more of it, empty for none."""
    names = {m.id: m.name or m.id for m in room.plant.machines}
    if alert.machine in names:
        return names[alert.machine], f"/machines/{alert.machine}"
    if alert.machine:
        return alert.machine, ""
    kind, _slash, name = alert.subject.partition("/")
    if kind == "server":
        return _("server %s") % name, "/connections"
    return room.plant.plant.name, "/"


def lengths(room: Room, alert: Alert, now_us: int) -> list[tuple[str, str]]:
    """What the form of shelving offers: value and words, the end of the shift first where one runs."""
    most_min = room.plant.alerts.longest_shelving_h * 60
    machines = [m.id for m in room.plant.machines]
    shift = latest_shift(room, [alert.machine] if alert.machine in machines else machines, now_us)
    offered = [(str(n), words.length(n * 60_000_000)) for n in LENGTHS_MIN if n <= most_min]
    if shift is not None and 0 < shift.end_us - now_us <= most_min * 60_000_000:
        told = _("until the end of the shift, %s") % words.clock(shift.end_us, room.zone, now_us)
        offered.insert(0, (alerting.SHIFT, told))
    return offered


def act(room: Room, number: int, name: str, fields: Mapping[str, str]) -> None:
    """Do what a form asks; raises RefusedError where it does not apply or is not said right."""
    if name == ACKNOWLEDGE:
        known = said(AcknowledgeBody, fields)
        alerting.acknowledge(room, number, known.who, known.note, known.severity)
    elif name == UNACKNOWLEDGE:
        taken = said(UnacknowledgeBody, fields)
        alerting.unacknowledge(room, number, taken.who, taken.note)
    elif name == SHELVE:
        until_shift = fields.get("end") == alerting.SHIFT
        end = {"until": alerting.SHIFT} if until_shift else {"minutes": whole(fields, "end")}
        aside = said(ShelveBody, fields, **end)
        alerting.shelve(room, number, aside.who, aside.note, aside.minutes, aside.until)
    else:
        back = said(UnshelveBody, fields)
        alerting.unshelve(room, number, back.who, back.note)


def overview(request: Request, room: Room, refused: Refused | None = None) -> dict[str, Any]:
    """What the page of all alerts shows."""
    chosen = choose(request, room, DAY)
    now_us = room.now_us()
    known = by_urgency(room.queries.alerts(standing=True), now_us)
    open_ = [a for a in known if not a.is_shelved(now_us)]
    aside = [a for a in known if a.is_shelved(now_us)]
    return {
        "standing": [line(room, a, now_us) for a in open_[: alert_words.MOST]],
        "left_out": len(open_[alert_words.MOST :]),
        "shelved": [line(room, a, now_us) for a in aside[: alert_words.MOST]],
        "history": [line(room, a, now_us) for a in _history(room, chosen)],
        "chosen": chosen,
        "most": ROWS,
        "late": late_words(room),
        **_shared(request, room, now_us, refused),
    }


def _history(room: Room, chosen: Chosen) -> list[Alert]:
    start, end = chosen.asked.interval
    found = room.queries.alerts(machine=chosen.machine, start_us=start, end_us=end, limit=ROWS)
    mine = {m.id for m in chosen.machines}
    return [a for a in found if chosen.cell is None or a.machine in mine]


def one(request: Request, room: Room, number: int, refused: Refused | None = None) -> dict[str, Any]:
    """What the page of one alert shows."""
    alert, now_us = alerting.one(room, number), room.now_us()
    events = story(room.queries.alert_events(number), now_us)
    return {
        "line": line(room, alert, now_us),
        "events": [
            Happened(
                words.moment(e.at_us, room.zone),
                alert_words.event(e.kind)
                + ("" if e.until_us is None else f" {_('until')} {words.moment(e.until_us, room.zone)}"),
                e.who,
                e.note,
                alert_words.severity(e.severity),
                alert_words.told(alert.rule, alert.machine, e.text, e.detail),
            )
            for e in events
        ],
        **_shared(request, room, now_us, refused),
    }


def _shared(request: Request, room: Room, now_us: int, refused: Refused | None) -> dict[str, Any]:
    board: Board = request.app.state.boards[language()]
    return {
        "cells": board.look()["cells"],
        "lengths": lambda alert: lengths(room, alert, now_us),
        "now_us": now_us,
        "refused": refused,
        "done": _done(request, room, now_us),
        "back": _back(request, refused),
        "who": name_kept(request),
    }


def _back(request: Request, refused: Refused | None) -> str:
    """Where to go on once a form was taken: the page that it stood on."""
    if refused is not None:
        return refused.told.get("back", "")
    return _address(request.url.path, request.url.query)


def _address(path: str, query: str, *numbers: int) -> str:
    """A page of alerts with its choices, without what was done on it before."""
    kept = [(name, value) for name, value in parse_qsl(query) if name != SEEN_TO]
    asked = urlencode([*kept, *((SEEN_TO, str(number)) for number in numbers)])
    return f"{path}?{asked}" if asked else path


def _seen_to(back: str, number: int) -> str:
    """The page to go back to, at the alert, which it shows with what was done."""
    parts = urlsplit(local(back, "/alerts"))
    return f"{_address(parts.path, parts.query, number)}#alert-{number}"


def _done(request: Request, room: Room, now_us: int) -> Done | None:
    """What a person did last with the alert that the address names; None where that is long ago."""
    text = request.query_params.get(SEEN_TO, "")
    if not (text.isascii() and text.isdigit() and len(text) < 18):
        return None
    number = int(text)
    events = [e for e in room.queries.alert_events(number) if e.kind in BY_PEOPLE]
    if not events or now_us - events[-1].at_us > JUST_US:
        return None
    return Done(number, alert_words.done(room, events[-1], now_us))


def install(app: FastAPI) -> None:
    """Serve these pages of ``app``."""

    @app.get("/alerts", include_in_schema=False)
    def alerts_page(request: Request, room: InRoom) -> Response:
        return pages_of(app).answer("alerts.html", **overview(request, room))

    @app.get("/alerts/{number}", include_in_schema=False)
    def alert_page(request: Request, number: Number, room: InRoom) -> Response:
        return pages_of(app).answer("alert.html", **one(request, room, number))

    def take(request: Request, room: Room, number: int, name: str, fields: Mapping[str, str]) -> Response:
        try:
            act(room, number, name, fields)
        except RefusedError as problem:
            if problem.status == HTTPStatus.NOT_FOUND:
                raise
            refused = Refused(number, name, why(problem), fields)
            return pages_of(app).answer("alert.html", problem.status, **one(request, room, number, refused))
        answer = see_other(_seen_to(fields.get("back", ""), number))
        return keeping(answer, request, fields.get("who", "").strip())

    @app.post("/alerts/{number}/acknowledge", include_in_schema=False)
    def acknowledge(request: Request, number: Number, room: InRoom, fields: Fields) -> Response:
        return take(request, room, number, ACKNOWLEDGE, fields)

    @app.post("/alerts/{number}/unacknowledge", include_in_schema=False)
    def unacknowledge(request: Request, number: Number, room: InRoom, fields: Fields) -> Response:
        return take(request, room, number, UNACKNOWLEDGE, fields)

    @app.post("/alerts/{number}/shelve", include_in_schema=False)
    def shelve(request: Request, number: Number, room: InRoom, fields: Fields) -> Response:
        return take(request, room, number, SHELVE, fields)

    @app.post("/alerts/{number}/unshelve", include_in_schema=False)
    def unshelve(request: Request, number: Number, room: InRoom, fields: Fields) -> Response:
        return take(request, room, number, UNSHELVE, fields)
