"""The wall: which machines stand together."""

from __future__ import annotations

from swarfline.serve.page.wall import MOST, sheets


def test_machines_are_shared_out_evenly():
    for count in range(1, 60):
        found = sheets(list(range(count)))
        assert [m for sheet in found for m in sheet] == list(range(count))
        sizes = [len(sheet) for sheet in found]
        assert max(sizes) <= MOST
        assert max(sizes) - min(sizes) <= max(1, len(sizes) - 1)
    assert [len(sheet) for sheet in sheets(list(range(7)))] == [4, 3]


def test_the_wall_shows_the_machines_of_a_cell(client):
    text = client.get("/wall?cell=south").text
    assert "South one" in text and ">N1<" not in text
    assert client.get("/wall?cell=west").status_code == 404
