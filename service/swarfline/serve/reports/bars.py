"""How bars are drawn: each kind with a height of its own, so that it reads without colours too."""

from __future__ import annotations

from collections.abc import Iterable

from swarfline.report import Segment
from swarfline.serve.page.ribbon import HEIGHT, LEVEL, WIDTH

LEVELS = {
    **LEVEL,
    "plain": (8, 20),
    "good": (0, HEIGHT),
    "scrap": (12, HEIGHT),
    "slow": (16, HEIGHT),
    "due": (0, HEIGHT),
}
"""Top and bottom of each kind of piece, of HEIGHT."""
_LEAST = 2.0
"""A piece that is there is seen, however short."""


def paths(bar: Iterable[Segment]) -> list[tuple[str, str]]:
    """(kind, SVG path) of each piece, in a box of WIDTH × HEIGHT."""
    return [(piece.kind, _path(piece)) for piece in bar]


def _path(piece: Segment) -> str:
    top, bottom = LEVELS[piece.kind]
    left = piece.start * WIDTH
    right = max(piece.end * WIDTH, left + _LEAST)
    return f"M{left:.6g} {top}H{right:.6g}V{bottom}H{left:.6g}Z"


def swatch(kind: str) -> str:
    """A path that shows a kind in a legend."""
    return _path(Segment(0.0, 1.0, kind))
