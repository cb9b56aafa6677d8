"""A report: what is handed over about a span, as data. Every format shows the same cells.

A report is a list of sections, a section a table. A cell carries its text for people and its value for programs.
"""

from __future__ import annotations

from dataclasses import dataclass

TEXT, WIDE, NUMBER, BAR = "text", "wide", "number", "bar"
"""Kinds of columns. WIDE is text that takes the room that is left; a bar has no value of its own, the numbers of
its row say the same."""


@dataclass(frozen=True, slots=True)
class Segment:
    """A piece of a bar from ``start`` to ``end``, shares (0 to 1) of its section's scale; ``kind`` as in LEVELS.

    A ``comb`` is drawn as a row of teeth: short stops, and what was gained.
    """

    start: float
    end: float
    kind: str
    comb: bool = False


@dataclass(frozen=True, slots=True)
class Cell:
    """One entry. ``value`` None: not known. ``coverage_pct``: observed share of the time it is about."""

    text: str
    value: float | str | None = None
    unit: str = ""
    coverage_pct: float | None = None
    note: str = ""
    bar: tuple[Segment, ...] = ()


@dataclass(frozen=True, slots=True)
class Column:
    """One column: its name for programs, its title, and its kind."""

    key: str
    title: str
    kind: str = TEXT


@dataclass(frozen=True, slots=True)
class Row:
    """A cell for each column; ``key`` names the row for programs, ``strong`` rows are sums."""

    key: str
    cells: tuple[Cell, ...]
    strong: bool = False


@dataclass(frozen=True, slots=True)
class Section:
    """A table under a heading; ``note`` stands below the heading, ``nothing`` in place of a table without rows.

    ``tiles``: few large figures instead of a table; the first column names them. ``legend`` explains the bars'
    kinds, in words.
    """

    key: str
    title: str
    columns: tuple[Column, ...]
    rows: tuple[Row, ...]
    note: str = ""
    nothing: str = ""
    tiles: bool = False
    legend: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Report:
    """All of it. ``about`` are the lines of the heading: name for programs, title, text.

    ``language`` is a code of RFC 5646, ``file_name`` has no ending, ``labels`` are words that formats add.
    """

    title: str
    subtitle: str
    language: str
    about: tuple[tuple[str, str, str], ...]
    sections: tuple[Section, ...]
    caution: str
    file_name: str
    labels: tuple[tuple[str, str], ...] = ()

    def section(self, key: str) -> Section:
        """One section; raises KeyError."""
        for section in self.sections:
            if section.key == key:
                return section
        raise KeyError(key)
