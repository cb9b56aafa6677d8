"""CSV: columns follow the shape of a row, and cells cannot run in a spreadsheet."""

from __future__ import annotations

import csv
import io

import pytest
from starlette.requests import Request

from swarfline.serve.shapes import Shape
from swarfline.serve.table import columns, wants_csv, write


class Inner(Shape):
    left: int
    right: str | None


class Row(Shape):
    name: str
    inner: Inner | None
    listed: list[int]
    known: bool


def read(rows):
    return list(csv.reader(io.StringIO(write(Row, rows))))


def test_inner_shapes_are_laid_out_flat():
    assert columns(Row) == [("name",), ("inner", "left"), ("inner", "right"), ("listed",), ("known",)]
    table = read([Row(name="a, b", inner=Inner(left=1, right=None), listed=[1, 2], known=True)])
    assert table == [["name", "inner_left", "inner_right", "listed", "known"], ["a, b", "1", "", "[1, 2]", "true"]]


def test_what_is_missing_is_empty():
    assert read([Row(name="x", inner=None, listed=[], known=False)])[1] == ["x", "", "", "[]", "false"]


@pytest.mark.parametrize("text", ["=1+1", "@SUM(A1)", "+1", "-1", "\tx"])
def test_text_of_machines_is_no_formula(text):
    assert read([Row(name=text, inner=None, listed=[], known=True)])[1][0] == "'" + text


@pytest.mark.parametrize(
    ("accept", "csv_wanted"),
    [
        ("", False),
        ("*/*", False),
        ("application/json", False),
        ("text/csv", True),
        ("text/csv;q=0.5, application/json", False),
        ("text/csv, application/json;q=0.9", True),
        ("text/html, */*;q=0.1", False),
        ("text/csv;q=0", False),
    ],
)
def test_what_the_client_prefers(accept, csv_wanted):
    scope = {"type": "http", "headers": [(b"accept", accept.encode())]}
    assert wants_csv(Request(scope)) is csv_wanted
