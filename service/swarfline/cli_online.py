"""The commands that look at machines and store nothing: check and watch."""

from __future__ import annotations

import asyncio
import json
import shutil
import signal
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from swarfline import clock
from swarfline.arguments import FAILED, PLANT_FILE, known_machines, plant_of
from swarfline.plant import Plant, PlantError, load

if TYPE_CHECKING:
    from swarfline.spectate import Spectacle

_TOP_LEFT, _TO_LINE_END, _TO_SCREEN_END, _CLEAR = "\x1b[H", "\x1b[K", "\x1b[J", "\x1b[2J"


@click.command()
@PLANT_FILE
@click.option("--online", is_flag=True, help="Then connect to the servers and read every mapped signal once.")
@click.option(
    "--machine", "machines", multiple=True, help="Online, only this machine; may be given several times."
)
@click.option("--json", "as_json", is_flag=True, help="Print the result for a program to read.")
def check(file: Path, online: bool, machines: tuple[str, ...], as_json: bool) -> None:
    """Validate a plant FILE and report every error at once. Exit code 0: usable, 1: errors, 2: wrong use.

    With --online the file is then held against its servers: what each mapped signal shows, as we understand it
    and raw, and what to do where something is wrong. It takes part in nothing: it may run beside the service.
    A server that is not reached is an error; the others are checked all the same.

    Notes tell what a usable file may not mean to say; they do not change the exit code.
    """
    from swarfline.serve import tls
    from swarfline.serve.planned import plan_notes

    if machines and not online:
        raise click.UsageError("--machine goes with --online")
    try:
        plant = load(file)
        unfit = tls.problem(plant)
        if unfit is not None:
            raise PlantError(str(file), [f"{file}: {unfit}"])
    except PlantError as problem:
        click.echo(json.dumps({"ok": False, "errors": problem.lines}) if as_json else str(problem))
        sys.exit(FAILED)
    told = f"{file}: fine: {len(plant.servers)} server(s), {len(plant.machines)} machine(s)"
    notes = plan_notes(plant)
    if online:
        from swarfline.online import as_json_text, as_text, check_online, is_fine

        known_machines(plant, *machines)
        inspections = asyncio.run(check_online(plant, machines))
        if as_json:
            click.echo(as_json_text(inspections, notes))
        else:
            click.echo("\n".join([told, *(f"note: {note}" for note in notes), as_text(inspections)]))
        sys.exit(0 if is_fine(inspections) else FAILED)
    if as_json:
        click.echo(json.dumps({"ok": True, "machines": [m.id for m in plant.machines], "notes": notes}))
    else:
        click.echo("\n".join([told, *(f"note: {note}" for note in notes)]))


@click.command()
@PLANT_FILE
@click.option("--machine", "machines", multiple=True, help="Only this machine; may be given several times.")
@click.option("--lines", is_flag=True, help="A line for each change, also in a terminal.")
def watch(file: Path, machines: tuple[str, ...], lines: bool) -> None:
    """Show the mapped signals of a plant FILE live, beside what they are interpreted as, until Ctrl-C or SIGTERM.

    In a terminal as a table that is redrawn in place, elsewhere (or with --lines) as one line for each change; the
    lines with => give condition and reason, cycle, step, tool, and the parts counted since the command began.
    Times are source times, in the plant's time zone. Nothing is stored: it may run beside the service.
    Exit code 0: stopped when told to, 1: could not start.
    """
    plant = plant_of(file)
    known_machines(plant, *machines)
    asyncio.run(_watch(plant, machines, in_place=sys.stdout.isatty() and not lines))


async def _watch(plant: Plant, machines: tuple[str, ...], in_place: bool) -> None:
    from swarfline.spectate import watch as look_on

    stop = asyncio.Event()
    for number in (signal.SIGINT, signal.SIGTERM):
        asyncio.get_running_loop().add_signal_handler(number, stop.set)
    if in_place:
        click.echo(_CLEAR, nl=False)
        await look_on(plant, machines, stop, lambda _line: None, _draw)
    else:
        await look_on(plant, machines, stop, click.echo)


def _draw(spectacle: Spectacle) -> None:
    columns, lines = shutil.get_terminal_size()
    rows = spectacle.table(clock.now_us(), lines - 1, columns)
    click.echo(_TOP_LEFT + "".join(f"{row}{_TO_LINE_END}\n" for row in rows) + _TO_SCREEN_END, nl=False)
