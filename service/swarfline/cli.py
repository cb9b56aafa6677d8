"""The command line. It wires; it computes nothing."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import click

from swarfline import __version__
from swarfline.plant import PlantError, load


@click.group()
@click.version_option(__version__)
def main() -> None:
    """Swarfline: production monitoring for machine tools. It only reads machines; it never commands one."""


@main.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="Print the result for a program to read.")
def check(file: Path, as_json: bool) -> None:
    """Validate a plant FILE and report every error at once. Exit code 0: usable, 1: errors."""
    try:
        plant = load(file)
    except PlantError as problem:
        click.echo(json.dumps({"ok": False, "errors": problem.lines}) if as_json else str(problem))
        sys.exit(1)
    told = f"{file}: fine: {len(plant.servers)} server(s), {len(plant.machines)} machine(s)"
    click.echo(json.dumps({"ok": True, "machines": [m.id for m in plant.machines]}) if as_json else told)
