"""Days of the simulated works with all kinds of trouble: every field that the API tells is true (see month.py)."""

from __future__ import annotations

import pytest

from swarfline.plant import load
from swarfline.rebuild import rebuild
from swarfline.store import Store

from .judged import Cell
from .month import ask, take_in

pytestmark = pytest.mark.system

DAYS = 5
MACHINES = ("N1", "N3", "S1")
SEED = 1


@pytest.fixture(scope="module")
def month(tmp_path_factory):
    return take_in(tmp_path_factory.mktemp("month"), DAYS, MACHINES, SEED)


@pytest.fixture(scope="module")
def cells(month):
    return ask(month)


def test_the_days_have_what_is_to_be_judged(month, cells):
    told = {(cell.row, cell.machine): cell.told for cell in cells}
    for machine in MACHINES:
        notes = month.notes[machine]
        assert len(notes.gaps) > 4
        assert notes.resets > 0
        assert notes.rolled > 0
        for name in ("cycles complete", "parts scrap", "tool lives ended", "alarms", "partial cycles"):
            assert told[name, machine] > 0, (name, machine)
    for name in ("cycles aborted", "parts total across gaps", "cycles whole through gaps", "s setup", "s fault"):
        assert sum(told[name, machine] for machine in MACHINES) > 0, name


def test_what_is_told_is_true(cells):
    assert [f"{cell.machine} {cell.row}: {cell}" for cell in cells if not cell.fits] == []


def test_the_journal_gives_the_same_facts_again(month):
    plant = load(month.folder / "plant.toml")
    store = Store.open(plant.store.url, month.folder / "plant.toml")
    told = rebuild(plant, store, MACHINES, dry=True)
    store.close()
    assert sum(kind.kept for kinds in told.values() for kind in kinds.values()) > 10_000
    changed = [k for kinds in told.values() for k in kinds.values() if k.changed or k.added or k.removed]
    assert changed == []


def test_another_figure_would_be_seen():
    assert not Cell("oee", "N1", 0.5, 0.5000001, 1e-9).fits
    assert not Cell("oee", "N1", None, 0.5, 1e-9).fits
