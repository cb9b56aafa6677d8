"""How bars are drawn: each kind with a height of its own, so that it reads without colours too."""

from __future__ import annotations

from collections.abc import Iterable

from swarfline.measure.losses import GOOD_PARTS
from swarfline.report import Segment
from swarfline.serve.page.production_ladder import HEIGHTS, SPACE, TOOTH, box, comb
from swarfline.serve.page.ribbon import WIDTH

DUE = "due"
LEVELS = {**HEIGHTS, GOOD_PARTS: HEIGHTS["stays"], DUE: HEIGHTS["stays"]}
"""Top and bottom of each kind of piece, of ribbon.HEIGHT: those of the page of production."""
COMB = (TOOTH / WIDTH, SPACE / WIDTH)
"""Widths of a comb's teeth and of what parts them, shares of a bar."""
_LEAST = 2.0
"""A piece that is there is seen, however short."""
_LIKE = {GOOD_PARTS: "stays", DUE: "stays"}


def paths(bar: Iterable[Segment]) -> list[tuple[str, str]]:
    """(kind, SVG path) of each piece, in a box of WIDTH × HEIGHT."""
    return [(piece.kind, _path(piece)) for piece in bar]


def _path(piece: Segment) -> str:
    left = piece.start * WIDTH
    right = max(piece.end * WIDTH, left + _LEAST)
    return (comb if piece.comb else box)(_LIKE.get(piece.kind, piece.kind), left, right)


def swatch(kind: str) -> str:
    """A path that shows a kind in a legend."""
    return _path(Segment(0.0, 1.0, kind))
