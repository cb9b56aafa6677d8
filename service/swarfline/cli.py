"""The command line. It wires; it computes nothing."""

from __future__ import annotations

import asyncio
import json
import logging
import sys
from dataclasses import asdict
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import click

from swarfline import __version__
from swarfline.arguments import PLANT_FILE, existing_store
from swarfline.arguments import fail as _fail
from swarfline.arguments import known_machines as _known_machines
from swarfline.arguments import plant_of as _plant
from swarfline.calendar import to_us
from swarfline.cli_alert import alert
from swarfline.cli_online import check, watch
from swarfline.cli_report import report
from swarfline.cli_store import store
from swarfline.cli_survey import survey
from swarfline.cli_trust import trust
from swarfline.cli_user import user
from swarfline.plant.model import Listen

if TYPE_CHECKING:
    from swarfline.rebuild import Told

ABOVE_ZERO = click.FloatRange(min=0, min_open=True)


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__)
def main() -> None:
    """Swarfline: production monitoring for machine tools.

    Reads machines over OPC UA and shows OEE, cycle times, tools near their limit and energy, as a page and as a
    REST API. It only reads machines; it never commands one, and it is no safety device.

    Start with `swarfline demo`: a simulated plant, nothing else needed.
    """


main.add_command(check)
main.add_command(watch)
main.add_command(survey)
main.add_command(trust)
main.add_command(report)
main.add_command(alert)
main.add_command(store)
main.add_command(user)


@main.command()
@PLANT_FILE
@click.option(
    "--only", type=click.Choice(["collect", "serve"]), help="Without page and API, or without reading machines."
)
def run(file: Path, only: Literal["collect", "serve"] | None) -> None:
    """Watch the machines of a plant FILE and show them, until Ctrl-C or SIGTERM.

    The address of the page is that of the file's [listen] table, http://127.0.0.1:8750/ by default. Exit code 0:
    stopped when told to, 1: could not start, or ended by a defect.
    """
    from swarfline.operate import Occupied, Unready, listen, operate, require_users
    from swarfline.serve import tls
    from swarfline.store import Store, StoreError

    _log_to_stderr(logging.INFO)
    plant = _plant(file)
    unfit = None if only == "collect" else tls.problem(plant)
    if unfit is not None:
        _fail(f"{file}: {unfit}")
    try:
        door = None if only == "collect" else listen(plant.listen.host, plant.listen.port)
        store = Store.open(plant.store.url, file)
        if door is not None:
            require_users(plant, store)
    except (Occupied, StoreError, Unready) as problem:
        _fail(str(problem))
    if store.backup is not None:
        click.echo(f"the database was upgraded; the old one is kept as {store.backup}", err=True)
    listened = plant.listen
    try:
        asyncio.run(operate(plant, store, door, only != "serve", lambda port: _say_where(listened, port)))
    except StoreError as problem:
        _fail(str(problem))
    store.close()


class Moment(click.ParamType[int]):
    """A time on the command line: RFC 3339 with an offset, as µs UTC."""

    name = "time"

    def convert(self, value: object, param: click.Parameter | None, ctx: click.Context | None) -> int:
        """The time in µs; ends the command with a clear message for anything else."""
        try:
            moment = datetime.fromisoformat(str(value))
        except ValueError:
            self.fail(f"{value!r} is no RFC 3339 time such as 2026-03-10T06:00:00+01:00", param, ctx)
        if moment.tzinfo is None:
            self.fail(f"{value!r} has no offset; add Z or +hh:mm", param, ctx)
        return to_us(moment)


@main.command()
@PLANT_FILE
@click.option("--from", "start_us", type=Moment(), default=None, help="Only facts that begin then or later.")
@click.option("--to", "end_us", type=Moment(), default=None, help="Only facts that begin earlier.")
@click.option("--machine", "machines", multiple=True, help="Only this machine; may be given several times.")
@click.option("--dry-run", is_flag=True, help="Say what would change, and change nothing.")
@click.option("--json", "as_json", is_flag=True, help="Print the result for a program to read.")
def rebuild(
    file: Path,
    start_us: int | None,
    end_us: int | None,
    machines: tuple[str, ...],
    dry_run: bool,
    as_json: bool,
) -> None:
    """Recompute the facts of a plant FILE from the readings that were kept.

    For use after an edit of parts or of how machines are interpreted, and to sort in readings that came too late.
    The service may run meanwhile; restart it after an edit of the plant file. Rows that come out as they were are
    not touched. Times are RFC 3339 with an offset. Exit code 0: done, 1: could not be done.
    """
    from swarfline.rebuild import ALWAYS_US
    from swarfline.rebuild import rebuild as recompute
    from swarfline.store import StoreError

    plant = _plant(file)
    known = [m.id for m in plant.machines]
    _known_machines(plant, *machines)
    span = (ALWAYS_US[0] if start_us is None else start_us, ALWAYS_US[1] if end_us is None else end_us)
    try:
        store = existing_store(plant, file)
        told = recompute(plant, store, machines or known, span, dry_run)
    except StoreError as problem:
        _fail(str(problem))
    store.close()
    if as_json:
        click.echo(json.dumps({m: {k: asdict(e) for k, e in kinds.items()} for m, kinds in told.items()}))
    else:
        click.echo(changes_table(told, dry_run))


@main.command()
@PLANT_FILE
@click.option("--machine", required=True, help="The machine of the first sample, or of the run-off.")
@click.option("--with-machine", help="The machine of the second sample; by default the same.")
@click.option("--program", help="Only cycles of this main program.")
@click.option("--with-program", help="The program of the second sample; by default the same.")
@click.option("--part", help="Only cycles of this part.")
@click.option("--before", metavar="SPAN", help="Span of the first sample.")
@click.option("--after", metavar="SPAN", help="Span of the second sample.")
@click.option("--span", metavar="SPAN", help="One span for both samples, or for the run-off.")
@click.option("--run-off", type=click.IntRange(2, 1000), help="Judge so many consecutive cycles instead.")
@click.option("--limit-s", type=ABOVE_ZERO, help="For a run-off, in place of the planned cycle time.")
@click.option("--target", type=ABOVE_ZERO, default=4 / 3, help="Index that a run-off has to reach; 1.33 (4/3).")
@click.option("--json", "as_json", is_flag=True, help="Print the rows as the API sends them.")
def study(file: Path, as_json: bool, **asked: Any) -> None:
    """Compare cycles of a plant FILE: two spans, two machines or two programs; or judge a run-off.

    \b
    study plant.toml --machine N1 --before 2026-03-09 --after 2026-03-10
    study plant.toml --machine N1 --with-machine N2 --span week
    study plant.toml --machine N1 --program O1 --with-program O2 --span week
    study plant.toml --machine N1 --run-off 50

    A SPAN is a day YYYY-MM-DD, FROM/TO with days or RFC 3339 times, or shift, day or week: the current one so far.
    A day as TO is not included. The service may run meanwhile; nothing is changed. Exit code 0: answered, whatever
    was found; 1: could not be answered; 2: wrong use.
    """
    from swarfline.store import StoreError
    from swarfline.study import Question, Unusable, answer, as_json_text, as_text, room_of

    question = Question(**asked)
    if question.mistake:
        raise click.UsageError(question.mistake)
    plant = _plant(file)
    _known_machines(plant, question.machine, question.other)
    try:
        store = existing_store(plant, file)
        room = room_of(plant, store)
        rows = answer(room, question)
    except (StoreError, Unusable) as problem:
        _fail(str(problem))
    store.close()
    click.echo(as_json_text(rows, room.zone) if as_json else as_text(rows, room.zone))


@main.command()
@click.option("--days", type=click.IntRange(1, 60), default=14, show_default=True, help="Length of the past.")
@click.option(
    "--port", type=click.IntRange(0, 65535), default=8750, show_default=True, help="Of the page; 0: any free one."
)
@click.option(
    "--dir", "folder", type=click.Path(path_type=Path, file_okay=False),
    help="Keep the files here and go on with them next time; by default they are deleted at the end.",
)  # fmt: skip
@click.option("--no-browser", is_flag=True, help="Do not open the page in a browser.")
def demo(days: int, port: int, folder: Path | None, no_browser: bool) -> None:
    """Show a simulated plant of six machines: its past, then live, until Ctrl-C.

    The plant runs as a process of its own (swarfline-sim) and is read over OPC UA like a real one.
    Everything stays on this computer.
    """
    from swarfline.demo import DemoError
    from swarfline.demo import demo as show
    from swarfline.operate import Occupied
    from swarfline.store import StoreError

    _log_to_stderr(logging.WARNING)
    try:
        show(days, port, folder, not no_browser)
    except (DemoError, Occupied, StoreError) as problem:
        _fail(str(problem))
    except KeyboardInterrupt:
        _fail("stopped before the plant was shown")


def changes_table(told: Told, dry: bool) -> str:
    """What a rebuild changed, a line for each machine and kind that changed at all."""
    lines = [
        f"{machine:12} {kind:12}{e.changed:7} changed {e.added:7} added {e.removed:7} removed {e.kept:7} as before"
        for machine, kinds in told.items()
        for kind, e in kinds.items()
        if e.changed or e.added or e.removed
    ]
    total = sum(e.kept for kinds in told.values() for e in kinds.values())
    verb = "would change" if dry else "changed"
    return "\n".join(lines) if lines else f"nothing {verb}: all {total} facts come out as they were"


def _say_where(listened: Listen, port: int) -> None:
    host = f"[{listened.host}]" if ":" in listened.host else listened.host
    scheme = "http" if listened.certificate is None else "https"
    logging.getLogger("swarfline").info("page and API: %s://%s:%d/", scheme, host, port)


def _log_to_stderr(level: int) -> None:
    logging.basicConfig(
        level=level,
        format="%(asctime)s %(levelname)s %(message)s",
        datefmt="%Y-%m-%dT%H:%M:%S%z",
        stream=sys.stderr,
    )
    # lines of their own at each start and stop, which say nothing that ours do not
    for library in ("uvicorn", "alembic"):
        logging.getLogger(library).setLevel(logging.WARNING)
