"""The command that writes a report into a file."""

from __future__ import annotations

import os
import sys
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

import click

from swarfline.arguments import PLANT_FILE, existing_store, fail, known_machines, plant_of
from swarfline.plant import Plant

if TYPE_CHECKING:
    from swarfline.serve.reports.subject import Subject
    from swarfline.serve.room import Room

ENDINGS = ("html", "pdf", "csv")
SPANS = ("shift", "day", "week", "month")
STDOUT = "-"


@click.command()
@PLANT_FILE
@click.option("--span", "kind", type=click.Choice(SPANS), help="The one that --at lies in; by default the day.")
@click.option("--at", metavar="TIME", help="A time in the span: YYYY-MM-DD or RFC 3339; by default the present.")
@click.option("--from", "start", metavar="TIME", help="Start of any other span.")
@click.option("--to", "end", metavar="TIME", help="Its end, not included; by default the present.")
@click.option("--machine", help="Only this machine.")
@click.option("--cell", help="Only the machines of this cell.")
@click.option("--format", "ending", type=click.Choice(ENDINGS), help="By default as the file's name ends.")
@click.option("--lang", type=click.Choice(["en", "de"]), default="en", show_default=True, help="Its language.")
@click.option("--out", required=True, metavar="FILE", help="Where to write it; - is the standard output.")
def report(
    file: Path,
    kind: str | None,
    at: str | None,
    start: str | None,
    end: str | None,
    machine: str | None,
    cell: str | None,
    ending: str | None,
    lang: str,
    out: str,
) -> None:
    """Write a report of a plant FILE: a shift, a day, a week, or any other span.

    \b
    report plant.toml --span day --at 2026-03-09 --out monday.pdf
    report plant.toml --span shift --cell north --out shift.html
    report plant.toml --from 2026-03-02 --to 2026-03-05 --format csv --out -

    A TIME is a day YYYY-MM-DD, which begins at midnight in the plant's zone, or RFC 3339. A span that is not over
    is reported so far. The service may run meanwhile; nothing is changed. Exit code 0: written, 1: could not be
    made, 2: wrong use.
    """
    if (start or end) and (kind or at):
        raise click.UsageError(
            "--from and --to give a span of their own; they cannot stand beside --span or --at."
        )
    if end and not start:
        raise click.UsageError("--to needs --from.")
    chosen = ending or out.rpartition(".")[2]
    if chosen not in ENDINGS:
        raise click.UsageError(f"Which format? Name --format, or let the file end in .{', .'.join(ENDINGS)}.")
    plant = plant_of(file)
    if machine is not None:
        known_machines(plant, machine)
    _keep(_made(plant, file, (kind, at, start, end, machine, cell), chosen, lang), out)


_Asked = tuple[str | None, str | None, str | None, str | None, str | None, str | None]


def _made(plant: Plant, file: Path, asked: _Asked, ending: str, lang: str) -> bytes:
    from swarfline.serve.problems import RefusedError
    from swarfline.serve.reports.build import build
    from swarfline.serve.reports.formats import FORMATS
    from swarfline.serve.reports.pdf import NoTypesetter
    from swarfline.serve.tongue import speaking
    from swarfline.store import StoreError

    try:
        store = existing_store(plant, file)
        with speaking(lang):
            body = FORMATS[ending].write(build(_subject(plant, store, *asked)))
    except (StoreError, RefusedError, NoTypesetter) as problem:
        fail(str(problem))
    store.close()
    return body


def _subject(
    plant: Plant,
    store: object,
    kind: str | None,
    at: str | None,
    start: str | None,
    end: str | None,
    machine: str | None,
    cell: str | None,
) -> Subject:
    from swarfline import clock
    from swarfline.live import Live
    from swarfline.serve.reports.subject import OWN, span_at, subject
    from swarfline.serve.room import Room
    from swarfline.serve.spans import DAY, resolve
    from swarfline.serve.times import show
    from swarfline.store import Store

    assert isinstance(store, Store)
    room = Room.of(plant, store, Live(), clock.now_us)
    machines = [m.id for m in room.machines(machine, cell)]
    if start is not None:
        first, last = (None if text is None else show(_moment(room, text), room.zone) for text in (start, end))
        return subject(room, OWN, resolve(room, first, last, None, machines, DAY), machine, cell)
    at_us = room.now_us() if at is None else _moment(room, at)
    chosen = kind or DAY
    return subject(room, chosen, span_at(room, chosen, at_us, machines), machine, cell)


def _moment(room: Room, text: str) -> int:
    """A time on the command line, µs UTC; ends the command with what is wrong with it."""
    from swarfline.serve.times import parse, parse_day

    try:
        return parse(text) if "T" in text.upper() else room.calendar.day_span(parse_day(text))[0]
    except ValueError as problem:
        fail(str(problem))


def _keep(body: bytes, out: str) -> None:
    """Write the file whole or not at all."""
    if out == STDOUT:
        sys.stdout.buffer.write(body)
        return
    place = Path(out)
    try:
        handle, name = tempfile.mkstemp(prefix=f".{place.name}.", dir=place.parent)
        with os.fdopen(handle, "wb") as opened:
            opened.write(body)
        Path(name).replace(place)
    except OSError as problem:
        fail(f"{place}: cannot be written: {problem.strerror}")
    click.echo(f"{place}: {len(body)} bytes", err=True)
