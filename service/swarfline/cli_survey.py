"""The command that looks at an unknown server and proposes a plant file for it."""

from __future__ import annotations

import asyncio
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any, get_args

import click
from pydantic import ValidationError

from swarfline.arguments import FAILED, fail
from swarfline.plant import PlantError, load
from swarfline.plant.model import Machine, SecurityTable, Server

if TYPE_CHECKING:
    from swarfline.connect.surveyed import Surveyed

PLACE = Path("plant.toml")
"""Beside where the plant file would be, if none is written: there are the approved certificates."""
POLICIES = get_args(SecurityTable.model_fields["policy"].annotation)
_SHOW_EVERY_S = 0.2
_BAR = 24
_SECURITY = ("user", "password_env", "password_file", "certificate", "key")


@click.command()
@click.argument("endpoint")
@click.option("-o", "out", type=click.Path(path_type=Path, dir_okay=False), help="Write a plant file here.")
@click.option("--force", is_flag=True, help="Replace the plant file that is there.")
@click.option("--json", "as_json", is_flag=True, help="Print all that was seen for a program to read.")
@click.option(
    "--watch",
    "watch_s",
    type=click.IntRange(0, 3600),
    default=60,
    show_default=True,
    help="Watch for so many seconds the values that no standard explains; 0: do not.",
)
@click.option("--nodes", type=click.IntRange(1, 10_000_000), default=100_000, show_default=True, help="At most.")
@click.option("--depth", type=click.IntRange(1, 200), default=40, show_default=True, help="Steps below Objects.")
@click.option("--walk-s", type=click.IntRange(1), default=600, show_default=True, help="For the walk, at most.")
@click.option(
    "--timeout",
    "timeout_s",
    type=click.FloatRange(0.2, 60),
    default=10,
    show_default=True,
    help="Seconds in which the server has to answer.",
)
@click.option("--security", "policy", type=click.Choice(POLICIES), default="None", help="Security policy.")
@click.option("--mode", type=click.Choice(["Sign", "SignAndEncrypt"]), default="SignAndEncrypt")
@click.option("--fingerprint", help="SHA-256 of the server's certificate, which is then approved.")
@click.option("--user", help="User name; by default we come as nobody.")
@click.option("--password-env", help="Environment variable that holds the password.")
@click.option("--password-file", help="File whose first line is the password.")
@click.option("--password-in-clear", is_flag=True, help="Let the password go over the network for all to read.")
@click.option("--certificate", help="File of a user certificate.")
@click.option("--key", help="File of its private key.")
def survey(
    endpoint: str,
    out: Path | None,
    force: bool,
    as_json: bool,
    watch_s: int,
    timeout_s: float,
    fingerprint: str | None,
    **more: Any,
) -> None:
    """Look at the OPC UA server at ENDPOINT (opc.tcp://HOST:PORT/PATH) and propose which node is which signal.

    It only reads. Endpoints, limits, clock, machines by their types, a proposal per signal with its reason and how
    sure it is, and which figures are lost for what is missing. With -o also as a plant file that `swarfline check`
    accepts; its lines marked YOUR DECISION want a person. Exit code 0: the whole server was seen, 1: not, or
    nothing could be written, 2: wrong use.
    """  # fmt: skip
    from swarfline.connect.walk import Bounds
    from swarfline.survey import as_json_text, as_text
    from swarfline.survey import survey as look

    server = _server(endpoint, timeout_s, more)
    if out is not None and out.exists() and not force:
        fail(f"{out} is there already; nothing was done. Name another file, or replace it with --force")
    plant_path = str(out or PLACE)
    _approve(server, plant_path, fingerprint)
    bounds = Bounds(more["nodes"], more["depth"], more["walk_s"])
    seen = asyncio.run(look(server, plant_path, bounds, watch_s, Bar()))
    if sys.stderr.isatty():
        click.echo("\r\x1b[K", nl=False, err=True)
    click.echo(as_json_text(seen) if as_json else as_text(seen))
    is_usable = out is None or not seen.namespaces or _write(out, force, seen, server)
    if not (seen.is_whole and is_usable):
        sys.exit(FAILED)


def _write(out: Path, force: bool, seen: Surveyed, server: Server) -> bool:
    """Write the plant file, and say what its check finds; False where that is more than nothing."""
    from swarfline.plantfile import compose, machine_key, save
    from swarfline.survey import missing, missing_line

    lost = {machine_key(m): [missing_line(ability) for ability in missing(m)] for m in seen.machines}
    try:
        save(out, compose(seen, server, lost), force)
        load(out)
    except OSError as problem:
        fail(f"{out}: cannot be written: {problem.strerror}")
    except PlantError as problem:
        click.echo(f"written: {out}; to be mended before it can be used:\n{problem}", err=True)
        return False
    click.echo(f"written: {out}; next: swarfline check {out} --online", err=True)
    return True


def _server(endpoint: str, timeout_s: float, more: dict[str, Any]) -> Server:
    said = {key: more[key] for key in _SECURITY if more[key] is not None}
    if more["policy"] != "None":
        said |= {"policy": more["policy"], "mode": more["mode"]}
    if more["password_in_clear"]:
        said["password_in_clear"] = True
    try:
        machines = (Machine(id="survey"),)
        security = SecurityTable(**said)
        return Server(id="server", endpoint=endpoint, timeout_s=timeout_s, machines=machines, security=security)
    except ValidationError as problem:
        first = problem.errors()[0]
        raise click.UsageError(
            f"ENDPOINT {endpoint!r} must be written opc.tcp://HOST:PORT/PATH, the port always with it"
            if first["loc"][:1] == ("endpoint",)
            else f"{first['loc']}: {first['msg']}"
        ) from None


def _approve(server: Server, plant_path: str, fingerprint: str | None) -> None:
    """A secured server is connected to only when its certificate was approved."""
    if server.security.policy == "None":
        return
    from swarfline.connect import trusting

    try:
        seen = asyncio.run(trusting.look(server, plant_path))
        if seen.is_approved:
            return
        if fingerprint is None:
            fail(
                f"{server.endpoint}: its certificate has the SHA-256 {seen.described.fingerprint}. Compare it "
                "with what the machine's own screen or papers tell; if it is that one, add --fingerprint and it"
            )
        trusting.approve(seen, plant_path, (), fingerprint)
    except (trusting.Refused, OSError) as problem:
        fail(f"{server.endpoint}: {problem}")


class Bar:
    """What is being done, on the error output of a terminal; silent elsewhere."""

    def __init__(self) -> None:
        self._is_shown = sys.stderr.isatty()
        self._next_s = 0.0

    def __call__(self, what: str, done: int, total: int | None) -> None:
        """Draw it anew, a few times a second."""
        if self._is_shown and time.monotonic() >= self._next_s:
            self._next_s = time.monotonic() + _SHOW_EVERY_S
            click.echo(f"\r\x1b[K{bar(what, done, total)}", nl=False, err=True)


def bar(what: str, done: int, total: int | None) -> str:
    """One line, with a bar where the whole is known."""
    if not total:
        return f"{done} {what}"
    full = _BAR * min(done, total) // total
    return f"[{'#' * full}{'.' * (_BAR - full)}] {done} of {total} {what}"
