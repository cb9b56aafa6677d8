"""From the text of a plant file to its tables: what is no TOML is told by line and column, with the likely cause.

The most common mistake is text without quotes. It is told and then read as if it had them, so that one run finds
all such places, and the checks that follow find the rest.
"""

from __future__ import annotations

import re
import tomllib
from typing import Any, NamedTuple

SHOWN = 120
"""Longer lines are shown only in part."""

_PLACE = re.compile(r"\s*\(at (?:line (\d+), column (\d+)|end of document)\)$")
_QUOTED = r""""(?:[^"\\]|\\.)*"|'[^']*'"""
_STATEMENT = re.compile(rf"""\s*(?:[\w.-]|{_QUOTED})+\s*=\s*([^\s"'\[{{#].*?)\s*(?:\s#.*)?$""")
_ENTRY = re.compile(r"""[^\s"'\[\]{},#][^"\[\]{},#]*+(?!")""")
_TIME_OF_DAY = re.compile(r"\d{1,2}:\d\d")
_NUMBER_AND_MORE = re.compile(r"[+-]?\d[\d.]*\s*[^\W\d_][^\s,]*")
_DECIMAL_COMMA = re.compile(r"[+-]?\d+,\d+")
_TYPOGRAPHIC = "“”„‟‘’‚«»"
_NAMES = re.compile(r"\((?:'[^']*'(?:, )?)+,?\)")

_NO_VALUE = "Invalid value"
_MORE_AFTER_VALUE = "Expected newline or end of document after a statement"
_TWICE = "Cannot overwrite a value"
_OPEN_STRING = ("Unterminated string", "Illegal character '\\n'")


class _Bare(NamedTuple):
    """A value that is no TOML: where it begins in its line, from 0, and how it is written."""

    start: int
    text: str

    @property
    def quoted(self) -> str:
        """The same as TOML's text; typographic quotes were meant as quotes."""
        text = self.text.strip(_TYPOGRAPHIC)
        return f"'{text}'" if '"' in text or "\\" in text else f'"{text}"'


def parse(text: str) -> tuple[dict[str, Any] | None, list[str]]:
    """The tables of a file, None where they cannot be told, and one line per mistake in its writing.

    Lines end with a bare newline. Tables that come with mistakes are a guess, fit only for further checks.
    """
    problems: list[str] = []
    written = text.split("\n")
    lines, shifts = list(written), [0] * len(written)
    while True:
        try:
            # without a last newline the parser would not tell where a mistake in the last line is
            return tomllib.loads("\n".join([*lines, ""])), problems
        except tomllib.TOMLDecodeError as problem:
            row, column, message = _place(str(problem), lines)
        bare = _bare_value(lines[row], column, message)
        mended = bare is not None and _is_text(bare.text)
        at = column if bare is None else bare.start
        where = f"line {row + 1}, column {at - shifts[row] + 1}"
        cause = _cause(message, bare)
        problems.append(f"not valid TOML: {where}: {cause} (the line reads: {_shown(written[row])})")
        if bare is None or not mended:
            return None, problems
        # each round leaves one value less without quotes, so that this ends
        lines[row] = f"{lines[row][:at]}{bare.quoted}{lines[row][at + len(bare.text) :]}"
        shifts[row] += len(bare.quoted) - len(bare.text)


def _place(message: str, lines: list[str]) -> tuple[int, int, str]:
    """Row and column from 0, and the message without them; the parser tells the end of the file by a word."""
    found = _PLACE.search(message)
    plain = message[: found.start()] if found else message
    if found and found[1] and int(found[1]) <= len(lines):
        return int(found[1]) - 1, int(found[2]) - 1, plain
    row = max((n for n, line in enumerate(lines) if line.strip()), default=0)
    return row, len(lines[row]), plain


def _bare_value(line: str, column: int, message: str) -> _Bare | None:
    """The value without quotes that the parser stumbled over."""
    statement = _STATEMENT.fullmatch(line)
    if statement and message in (_NO_VALUE, _MORE_AFTER_VALUE):
        return _Bare(statement.start(1), statement[1])
    entry = _ENTRY.match(line, column) if message == _NO_VALUE else None
    if entry:
        return _Bare(column, entry[0].rstrip())
    # a time of day begins like a number, so that the parser stops in its middle
    times = (t for t in _TIME_OF_DAY.finditer(line) if t.start() < column <= t.end())
    return next((_Bare(t.start(), t[0]) for t in times), None) if message.startswith("Unclosed") else None


def _is_text(bare: str) -> bool:
    """Whether it was surely meant as text: words and times of day, but no number and no truth value."""
    if bare.lower() in ("true", "false"):
        return False
    if not bare.isprintable() or ("'" in bare and ('"' in bare or "\\" in bare)):
        return False  # no pair of quotes would hold it
    return bare[0].isalpha() or bare[0] in _TYPOGRAPHIC or _TIME_OF_DAY.fullmatch(bare) is not None


def _cause(message: str, bare: _Bare | None) -> str:
    if message.startswith(_OPEN_STRING):
        return "a closing quote is missing"
    if message == _TWICE:
        return "this key was given before"
    if bare is not None:
        if _is_text(bare.text):
            return f"text needs quotes: {bare.quoted}"
        if bare.text.lower() in ("true", "false"):
            return f"write {bare.text.lower()} in small letters"
        if _DECIMAL_COMMA.fullmatch(bare.text):
            return f"numbers have a decimal point: {bare.text.replace(',', '.')}"
        if _NUMBER_AND_MORE.fullmatch(bare.text):
            return f"numbers stand without a unit, and text needs quotes: {bare.quoted}"
    plain = _NAMES.sub(_heading, message)
    return plain[0].lower() + plain[1:]


def _heading(names: re.Match[str]) -> str:
    """What the parser calls ``('servers', 'machines')``."""
    inner = ".".join(re.findall(r"'([^']*)'", names[0]))
    return f"[{inner}]"


def _shown(line: str) -> str:
    plain = "".join(char if char.isprintable() else " " for char in line).strip()
    return plain if len(plain) <= SHOWN else f"{plain[:SHOWN]}…"
