"""The commands about the database itself."""

from __future__ import annotations

from pathlib import Path

import click

from swarfline.arguments import PLANT_FILE, existing_store, fail, plant_of


@click.group()
def store() -> None:
    """Look after the database of a plant."""


@store.command()
@PLANT_FILE
@click.argument("target", type=click.Path(dir_okay=False, path_type=Path))
def backup(file: Path, target: Path) -> None:
    """Copy the database of a plant FILE, whole and at one moment, into the new file TARGET.

    The service may run meanwhile. The copy holds people's names: keep it as you keep the database. To go back: end
    the service, move the database away with the files beside it that end in -wal and -shm, put the copy in its
    place, start the service. Exit code 0: written, 1: not.
    """
    from swarfline.store import StoreError

    plant = plant_of(file)
    try:
        opened = existing_store(plant, file)
        size = opened.back_up(target)
        opened.close()
    except StoreError as problem:
        fail(str(problem))
    click.echo(f"{target}: {size / 1e6:.1f} MB")
