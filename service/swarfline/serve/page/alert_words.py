"""Alerts in words, as the board, its stream and the page of alerts show them."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from typing import Any
from urllib.parse import quote

from swarfline.alerts import (
    ACKNOWLEDGED,
    INFORMATION,
    SHELVED,
    UNACKNOWLEDGED,
    UNSHELVED,
    URGENT,
    WARNING,
    Alert,
    AlertEvent,
)
from swarfline.sentence import Tongue
from swarfline.serve.alerts import alert_row
from swarfline.serve.page import words
from swarfline.serve.room import Room
from swarfline.serve.tongue import OURS, language
from swarfline.serve.tongue import gettext as _
from swarfline.watch.telling import retold

MOST = 100
"""Standing alerts that are shown and streamed, the most urgent; counts are of all."""
FIRST = 8
"""Those of them on the first page, where the machines must be seen too."""


def severity(name: str) -> str:
    """A severity in words."""
    return {INFORMATION: _("information"), WARNING: _("warning"), URGENT: _("urgent")}.get(name, name)


def text(alert: Alert) -> str:
    """What an alert says, in the reader's language; as it was written where it cannot be told again."""
    return told(alert.rule, alert.machine, alert.text, alert.detail)


def told(rule: str, machine: str, written: str, detail: Mapping[str, object]) -> str:
    """The same of the text and detail that an alert of a rule and a machine had at some time."""
    if language() == OURS:
        return written
    return retold(rule, machine, written, detail, Tongue(_, words.number))


def next_step(alert: Alert) -> tuple[str, str]:
    """The page on which to go on with an alert: its name in words and its address; empty where there is none."""
    machine = alert.machine
    due, lives = _("List of tools due"), _("Tools of the machine")
    there = {
        "tool_near_limit": (due, f"/tools?machine={quote(machine)}"),
        "tool_past_limit": (due, f"/tools?machine={quote(machine)}"),
        "tool_life_reset": (lives, f"/machines/{machine}/tools"),
        "tool_load_rising": (lives, f"/machines/{machine}/tools"),
        "lot_will_not_finish": (due, f"/tools?machine={quote(machine)}"),
        "machine_stopped_longer": (_("Stops to name"), f"/machines/{machine}#stops"),
        "machine_out_of_sight": (_("Connections"), "/connections"),
        "cycle_time_drifted": (_("Cycle trend"), f"/machines/{machine}/cycles"),
        "scrap_rate": (_("Enter parts"), f"/machines/{machine}#enter"),
        "power_peak": (_("Energy"), "/energy"),
        "connection_lost": (_("Connections"), "/connections"),
        "clock_offset": (_("Connections"), "/connections"),
        "codes_unmapped": (_("Connections"), "/connections"),
    }
    return there.get(alert.rule, ("", ""))


def event(kind: str) -> str:
    """What happened to an alert, in words."""
    return {
        "raised": _("raised"),
        "raised_again": _("raised again"),
        "severity_changed": _("severity changed"),
        "text_changed": _("text changed"),
        "acknowledged": _("acknowledged"),
        "acknowledgement_ended": _("more severe: the acknowledgement ended"),
        "unacknowledged": _("acknowledgement taken back"),
        "shelved": _("shelved"),
        "unshelved": _("taken back from the shelf"),
        "shelving_ended": _("shelving ended"),
        "cleared": _("cleared"),
    }[kind]


def state(room: Room, alert: Alert, now_us: int) -> str:
    """How far people have come with it."""
    if alert.shelved is not None and alert.is_shelved(now_us):
        told = {"time": words.clock(alert.shelved.until_us, room.zone, now_us), "who": alert.shelved.who}
        return _("shelved until %(time)s by %(who)s") % told
    if alert.acknowledged is not None:
        return _("acknowledged by %(who)s") % {"who": alert.acknowledged.who}
    return _("not acknowledged")


def done(room: Room, event: AlertEvent, now_us: int) -> str:
    """What a person did with an alert, who and when, as a confirmation; of an event of alerts.BY_PEOPLE."""
    told = {
        ACKNOWLEDGED: _("Acknowledged by %(who)s, %(time)s"),
        UNACKNOWLEDGED: _("Acknowledgement taken back by %(who)s, %(time)s"),
        SHELVED: _("Shelved by %(who)s, %(time)s"),
        UNSHELVED: _("Taken back from the shelf by %(who)s, %(time)s"),
    }
    return told[event.kind] % {"who": event.who, "time": words.clock(event.at_us, room.zone, now_us)}


def since(room: Room, alert: Alert, now_us: int) -> str:
    """Since when it stands, and how often it was raised."""
    told = _("since %s") % words.clock(alert.since_us, room.zone, now_us)
    if alert.times > 1:
        told += ", " + _("raised %(times)s times") % {"times": words.number(alert.times)}
    return told


def shown(room: Room, alert: Alert, now_us: int) -> dict[str, Any]:
    """An alert as the API sends it, with ``said``: its text, severity, state and time in words."""
    said = {
        "text": text(alert),
        "severity": severity(alert.severity),
        "state": state(room, alert, now_us),
        "since": since(room, alert, now_us),
    }
    return {**alert_row(room, alert, now_us).model_dump(mode="json"), "said": said}


def alert_cells(room: Room, standing: list[Alert], now_us: int) -> dict[str, str]:
    """How many alerts stand and are shelved, what each says, and a text that changes with the list."""
    open_ = [a for a in standing if not a.is_shelved(now_us)]
    unacknowledged = sum(a.acknowledged is None for a in open_)
    shelved, more = len(standing) - len(open_), len(open_) - FIRST
    return {
        "plant.alerts": _("none") if not open_ else str(len(open_)),
        "plant.alerts.unacknowledged": str(unacknowledged),
        "plant.alerts.shelved": _("none") if not shelved else str(shelved),
        "plant.alerts.more": _("and %(num)s more") % {"num": words.number(more)} if more > 0 else "",
        "plant.alerts.list": _digest(standing, now_us),
        **{f"alert.{a.number}.text": text(a) for a in standing[:MOST]},
        **{f"alert.{a.number}.since": since(room, a, now_us) for a in standing[:MOST]},
    }


def _digest(standing: list[Alert], now_us: int) -> str:
    told = [(a.number, a.severity, a.acknowledged is None, a.is_shelved(now_us)) for a in standing]
    return hashlib.sha256(repr(told).encode()).hexdigest()[:12]
