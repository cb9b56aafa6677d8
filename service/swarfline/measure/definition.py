"""How a figure is listed: each family's file ends with the FIGURES that it computes."""

from __future__ import annotations

from typing import NamedTuple

ISO = "ISO 22400-2"
NIST = "NIST/SEMATECH e-Handbook"
TYPE_7 = "Hyndman & Fan 1996, type 7"
OURS = "own choice"
"""Sources."""


class Definition(NamedTuple):
    """A figure: its name in the API, formula in element names, unit, meaning, and where the definition is from."""

    name: str
    formula: str
    unit: str
    about: str
    source: str
