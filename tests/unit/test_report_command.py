"""swarfline report: what it writes, and its exit codes. The server's clock rules, so it is 12:00."""

from __future__ import annotations

import csv
import io
import stat

import pytest
from click.testing import CliRunner
from serve.works import NOW, PLANT, facts

from swarfline.cli import main
from swarfline.store import Batch, Store


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    path = tmp_path_factory.mktemp("report")
    (path / "plant.toml").write_text(PLANT.replace('id = "line"\n', 'id = "line"\nclock = "server"\n'))
    store = Store.open("sqlite:///swarfline.db", path / "plant.toml")
    store.writer().commit(Batch(facts=facts(), seen_us=NOW))
    store.close()
    return path


@pytest.fixture
def report(folder):
    """The command over the works' morning."""

    def call(*words: object):
        return CliRunner().invoke(main, ["report", str(folder / "plant.toml"), *map(str, words)])

    return call


def rows(text: str) -> dict[tuple[str, ...], str]:
    return {tuple(line[:3]): line[3] for line in csv.reader(io.StringIO(text))}


def test_the_file_s_ending_says_the_format(report, folder):
    for ending, begins in (("pdf", b"%PDF-"), ("html", b"<!doctype html>"), ("csv", b"section,row,column")):
        out = folder / f"day.{ending}"
        told = report("--out", out)
        assert told.exit_code == 0, told.output
        assert out.read_bytes().lstrip().startswith(begins)
        assert f"{out}: {out.stat().st_size} bytes" in told.output
    assert not [p for p in folder.iterdir() if p.name.startswith(".")], "nothing is left beside it"
    assert stat.S_IMODE(out.stat().st_mode) & 0o600 == 0o600


def test_spans(report):
    def span(*words: object) -> str:
        told = report(*words, "--format", "csv", "--out", "-")
        assert told.exit_code == 0, told.output
        return rows(told.stdout)["about", "", "span"]

    assert span() == "Tue 10 Mar 2026, 00:00 – Tue 10 Mar 2026, 12:00 (so far)"
    assert span("--span", "shift").startswith("Tue 10 Mar 2026, 06:00")
    assert span("--span", "shift", "--at", "2026-03-09T20:00:00Z").startswith("Mon 9 Mar 2026, 06:00")
    assert span("--at", "2026-03-09") == "Mon 9 Mar 2026, 00:00 – Tue 10 Mar 2026, 00:00"
    assert span("--from", "2026-03-09", "--to", "2026-03-10T07:00:00+01:00").endswith("10 Mar 2026, 07:00")


def test_machines_cells_and_languages(report):
    one = rows(report("--machine", "N1", "--format", "csv", "--out", "-").stdout)
    assert ("machines", "N1", "made") in one and ("machines", "S1", "made") not in one
    cell = rows(report("--cell", "south", "--format", "csv", "--out", "-", "--lang", "de").stdout)
    assert ("machines", "S1", "made") in cell and ("machines", "N1", "made") not in cell


@pytest.mark.parametrize(
    ("words", "code", "says"),
    [
        (["--out", "day.doc"], 2, "Which format?"),
        (["--span", "day", "--from", "2026-03-09", "--out", "a.csv"], 2, "cannot stand beside"),
        (["--to", "2026-03-09", "--out", "a.csv"], 2, "--to needs --from"),
        (["--at", "yesterday", "--out", "a.csv"], 1, "yesterday"),
        (["--machine", "N9", "--out", "a.csv"], 1, "N1, S1"),
        (["--cell", "west", "--out", "a.csv"], 1, "west"),
        (["--from", "2026-03-11", "--out", "a.csv"], 1, "present"),
        (["--out", "/nowhere/at/all/a.csv"], 1, "cannot be written"),
    ],
)
def test_wrong_use(report, words, code, says):
    told = report(*words)
    assert told.exit_code == code, told.output
    assert says in told.output


def test_without_a_database(tmp_path):
    (tmp_path / "plant.toml").write_text(PLANT)
    told = CliRunner().invoke(main, ["report", str(tmp_path / "plant.toml"), "--out", str(tmp_path / "a.csv")])
    assert told.exit_code == 1 and "there is no database" in told.output
    assert sorted(p.name for p in tmp_path.iterdir()) == ["plant.toml"]
