"""The plant now: when its figures are computed anew, and what is looked up for it."""

from __future__ import annotations

import pytest

from swarfline.serve import create_app
from swarfline.serve.page.board import FRESH_US, SHOWN_US

from .works import NOW, SECOND, works


@pytest.fixture
def board(tmp_path):
    app, store = works(tmp_path)
    moment = [NOW]
    made = create_app(app.state.room.plant, store, clock_us=lambda: moment[0]).state.boards["en"]
    made.moment = moment
    yield made
    store.close()


@pytest.mark.parametrize(("oldest_us", "kept_s", "computed_s"), [(FRESH_US, 4, 5), (SHOWN_US, 14, 15)])
def test_figures_are_computed_anew_only_when_they_are_old(board, oldest_us, kept_s, computed_s):
    board.refresh()
    first = board._figures
    board.moment[0] = NOW + kept_s * SECOND
    board.refresh(oldest_us)
    assert board._figures is first
    board.moment[0] = NOW + computed_s * SECOND
    board.refresh(oldest_us)
    assert board._figures.computed_us == board.moment[0]


def test_only_a_whole_picture_has_the_machines(board):
    page, whole = board.look(), board.look(whole=True)
    assert "machines" not in page
    assert list(whole.pop("machines")) == [m.id for m in board._room.plant.machines]
    assert page == whole
