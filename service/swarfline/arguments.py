"""What commands have in common: the plant file, its database, machines by name, the end with a message."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

import click

from swarfline.plant import Plant, PlantError, load

if TYPE_CHECKING:
    from swarfline.store import Store

FAILED = 1
PLANT_FILE = click.argument("file", type=click.Path(path_type=Path))


def fail(message: str) -> NoReturn:
    """End the command with a message and exit code 1."""
    click.echo(message, err=True)
    sys.exit(FAILED)


def plant_of(file: Path) -> Plant:
    """The checked plant of a file; ends the command with every error of the file."""
    try:
        return load(file)
    except PlantError as problem:
        fail(str(problem))


def known_machines(plant: Plant, *machines: str) -> None:
    """End the command when one of these is no machine of the plant."""
    known = [m.id for m in plant.machines]
    for machine in machines:
        if machine not in known:
            fail(f"--machine {machine!r}: unknown; the plant file has {', '.join(known)}")


def existing_store(plant: Plant, file: Path) -> Store:
    """The database that the plant file names; raises StoreError where there is none.

    A command that only looks back must not make an empty one.
    """
    from swarfline.store import Store, StoreError
    from swarfline.store.engine import resolve_url

    url = resolve_url(plant.store.url, file)
    if url.get_backend_name() == "sqlite" and url.database and not Path(url.database).exists():
        raise StoreError(f"there is no database {url.database} yet; `swarfline run` makes it")
    return Store.open(plant.store.url, file)
