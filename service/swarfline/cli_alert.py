"""The commands about alerts: what stands, what happened, acknowledge and shelve."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from swarfline.arguments import FAILED, PLANT_FILE, existing_store, fail, known_machines, plant_of

if TYPE_CHECKING:
    from swarfline.alerts import Alert
    from swarfline.serve.alerts import AlertRow
    from swarfline.serve.room import Room

NUMBER = click.argument("number", type=click.IntRange(1))
WHO = click.option("--who", required=True, help="Your name; it is kept with what you did.")
NOTE = click.option("--note", default="", help="Why, or what is done about it.")
JSON = click.option("--json", "as_json", is_flag=True, help="Print it as the API sends it.")


@click.group()
def alert() -> None:
    """Alerts of a plant: list, history, acknowledge, shelve; and whether its channels work.

    An alert is information for people. It is no safety function, and acknowledging one does nothing at a machine.
    """


@alert.command("list")
@PLANT_FILE
@click.option("--unacknowledged", is_flag=True, help="Only those that nobody acknowledged.")
@click.option("--shelved", is_flag=True, help="Only those that are shelved now.")
@click.option("--machine", help="Only those of this machine.")
@JSON
def list_alerts(file: Path, unacknowledged: bool, shelved: bool, machine: str | None, as_json: bool) -> None:
    """Alerts of a plant FILE that stand now, the most urgent first.

    Exit code 0: told, whether there are any or not; 1: could not be told.
    """
    from swarfline.alerts import by_urgency

    with _room(file, machine) as room:
        now_us = room.now_us()
        found = room.queries.alerts(
            standing=not shelved,
            machine=machine,
            unacknowledged=unacknowledged,
            shelved_at_us=now_us if shelved else None,
        )
        _print(room, by_urgency(found, now_us), now_us, as_json, "no alert stands")


@alert.command()
@PLANT_FILE
@click.argument("number", type=click.IntRange(1), required=False)
@click.option(
    "--days", type=click.FloatRange(0, 400, min_open=True), default=7, show_default=True, help="How far back."
)
@click.option("--machine", help="Only those of this machine.")
@JSON
def history(file: Path, number: int | None, days: float, machine: str | None, as_json: bool) -> None:
    """Alerts of the last days of a plant FILE, newest first; or all that happened to the alert of a NUMBER.

    Exit code 0: told, 1: could not be told, or there is no such alert.
    """
    with _room(file, machine) as room:
        if number is not None:
            _tell(room, number, as_json)
            return
        now_us = room.now_us()
        found = room.queries.alerts(machine=machine, start_us=now_us - round(days * 86_400e6))
        _print(room, found, now_us, as_json, "there were no alerts")


@alert.command()
@PLANT_FILE
@NUMBER
@WHO
@NOTE
@JSON
def acknowledge(file: Path, number: int, who: str, note: str, as_json: bool) -> None:
    """Say that you know of the alert of a NUMBER in a plant FILE, and see to it.

    It holds as long as the alert stands and does not become more severe. The service may run meanwhile. Exit code
    0: done, 1: it does not apply (any more), or could not be done.
    """
    from swarfline.serve import alerting
    from swarfline.serve.alerts import AcknowledgeBody
    from swarfline.serve.page.forms import said

    with _room(file) as room:
        told = said(AcknowledgeBody, {}, who=who, note=note)
        alerting.acknowledge(room, number, told.who, told.note)
        _tell(room, number, as_json)


@alert.command()
@PLANT_FILE
@NUMBER
@WHO
@NOTE
@JSON
def unacknowledge(file: Path, number: int, who: str, note: str, as_json: bool) -> None:
    """Take back an acknowledgement of the alert of a NUMBER in a plant FILE that was given by mistake.

    The history keeps both. Exit code 0: done, 1: it is not acknowledged (any more), or could not be done.
    """
    from swarfline.serve import alerting
    from swarfline.serve.alerts import UnacknowledgeBody
    from swarfline.serve.page.forms import said

    with _room(file) as room:
        told = said(UnacknowledgeBody, {}, who=who, note=note)
        alerting.unacknowledge(room, number, told.who, told.note)
        _tell(room, number, as_json)


@alert.command()
@PLANT_FILE
@NUMBER
@click.option("--minutes", type=click.FloatRange(0, min_open=True), help="For so long from now.")
@click.option("--until", metavar="TIME", help="Up to an RFC 3339 time, or 'shift': the end of the shift.")
@WHO
@NOTE
@JSON
def shelve(
    file: Path, number: int, minutes: float | None, until: str | None, who: str, note: str, as_json: bool
) -> None:
    """Set the alert of a NUMBER in a plant FILE aside up to an end; nobody is told of it until then.

    It stays in the lists and comes back by itself. Exit code 0: done, 1: it does not apply (any more), or could
    not be done, 2: wrong use.
    """
    from swarfline.serve import alerting
    from swarfline.serve.alerts import ShelveBody
    from swarfline.serve.page.forms import said

    if (minutes is None) == (until is None):
        raise click.UsageError("Give --minutes or --until, one of the two.")
    with _room(file) as room:
        told = said(ShelveBody, {}, who=who, note=note, minutes=minutes, until=until)
        alerting.shelve(room, number, told.who, told.note, told.minutes, told.until)
        _tell(room, number, as_json)


@alert.command()
@PLANT_FILE
@NUMBER
@WHO
@NOTE
@JSON
def unshelve(file: Path, number: int, who: str, note: str, as_json: bool) -> None:
    """Take the alert of a NUMBER in a plant FILE back from the shelf before its time.

    Exit code 0: done, 1: it is not shelved (any more), or could not be done.
    """
    from swarfline.serve import alerting
    from swarfline.serve.alerts import UnshelveBody
    from swarfline.serve.page.forms import said

    with _room(file) as room:
        told = said(UnshelveBody, {}, who=who, note=note)
        alerting.unshelve(room, number, told.who, told.note)
        _tell(room, number, as_json)


@alert.command("test")
@PLANT_FILE
@click.argument("channel")
@click.option("--json", "as_json", is_flag=True, help="Print the outcome for a program to read.")
def try_channel(file: Path, channel: str, as_json: bool) -> None:
    """Send a test message on a CHANNEL of a plant FILE, and say what happened.

    It is sent at once, whatever quiet hours there are, and only once; the outbox does not know of it. Secrets come
    from the environment of this command. Exit code 0: the receiver took it, 1: it did not, or the file is wrong,
    2: there is no such channel.
    """
    from swarfline import clock
    from swarfline.sentence import ENGLISH
    from swarfline.serve.page.words import TONGUES
    from swarfline.watch.channels import channel_of
    from swarfline.watch.deliver import Later, Refused, trial

    plant = plant_of(file)
    tables = {table.id: table for table in plant.channels}
    if channel not in tables:
        there = ", ".join(tables) or "none"
        raise click.BadParameter(f"{channel!r} is no channel of the plant file (there are: {there})")
    now_us, table = clock.now_us(), tables[channel]
    message = trial(channel, plant.plant.name, now_us, TONGUES.get(table.language, ENGLISH))
    try:
        remark = channel_of(table, file.parent).send(message, now_us)
    except (Later, Refused) as problem:
        _tell_trial(channel, False, str(problem), as_json)
        sys.exit(FAILED)
    _tell_trial(channel, True, remark, as_json)


def _tell_trial(channel: str, sent: bool, said: str, as_json: bool) -> None:
    if as_json:
        click.echo(json.dumps({"channel": channel, "sent": sent, "said": said}, ensure_ascii=False))
    elif sent:
        click.echo(f"channel {channel}: the test message was taken" + (f"; {said}" if said else ""))
    else:
        click.echo(f"channel {channel}: the test message could not be sent: {said}", err=True)


@contextmanager
def _room(file: Path, machine: str | None = None) -> Iterator[Room]:
    """What the API answers from; ends the command with a message where something is refused."""
    from swarfline.serve.problems import RefusedError
    from swarfline.store import StoreError
    from swarfline.study import room_of

    plant = plant_of(file)
    if machine is not None:
        known_machines(plant, machine)
    try:
        store = existing_store(plant, file)
        try:
            yield room_of(plant, store)
        finally:
            store.close()
    except RefusedError as refused:
        fail(
            "; ".join(f"{e.parameter}: {e.detail} (allowed: {e.allowed})" for e in refused.errors)
            or refused.detail
        )
    except StoreError as problem:
        fail(str(problem))


def _print(room: Room, alerts: list[Alert], now_us: int, as_json: bool, none: str) -> None:
    from swarfline.serve.alerts import alert_row

    rows = [alert_row(room, a, now_us) for a in alerts]
    if as_json:
        click.echo(json.dumps([row.model_dump(mode="json") for row in rows], ensure_ascii=False))
    else:
        click.echo("\n".join(map(_line, rows)) or none)


def _tell(room: Room, number: int, as_json: bool) -> None:
    """One alert with its history."""
    from swarfline.serve.alerting import one
    from swarfline.serve.alerts import alert_story

    told = alert_story(room, one(room, number))
    if as_json:
        click.echo(json.dumps(told.model_dump(mode="json"), ensure_ascii=False))
        return
    click.echo(_line(told))
    for event in told.events:
        by = f" by {event.who}" if event.who else ""
        until = f" until {_when(event.until)}" if event.until else ""
        note = f": {event.note}" if event.note else ""
        click.echo(f"  {_when(event.at)}  {event.event.replace('_', ' ')}{by}{until}{note} ({event.severity})")


def _line(row: AlertRow) -> str:
    """number, severity, state, since when, text"""
    times = f", {row.times} times" if row.times > 1 else ""
    return f"{row.number:>5}  {row.severity:<11}  {_state(row)}  {_when(row.raised)}{times}  {row.text}"


def _state(row: AlertRow) -> str:
    if row.cleared is not None:
        return f"cleared {_when(row.cleared)}"
    if row.shelved is not None:
        return f"shelved until {_when(row.shelved.until)} by {row.shelved.who}"
    return "not acknowledged" if row.acknowledged is None else f"acknowledged by {row.acknowledged.who}"


def _when(told: str) -> str:
    return f"{told[:10]} {told[11:19]}"
