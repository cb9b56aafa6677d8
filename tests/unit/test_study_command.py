"""swarfline study: what it prints, and its exit codes. The server's clock rules, so it is 12:00."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner
from serve.compared import TWO, facts
from serve.works import NOW

from swarfline.cli import main
from swarfline.store import Batch, Store

BEFORE, AFTER = "2026-03-10T06:00:00+01:00/2026-03-10T09:00:00+01:00", "2026-03-10T09:00:00+01:00/2026-03-11"


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    """The command over a store of its own."""
    path = tmp_path_factory.mktemp("study") / "plant.toml"
    path.write_text(TWO.replace('id = "line"\n', 'id = "line"\nclock = "server"\n'), encoding="utf-8")
    store = Store.open("sqlite:///swarfline.db", path)
    store.writer().commit(Batch(facts=facts(), seen_us=NOW))
    store.close()

    def call(*words: object):
        return CliRunner().invoke(main, ["study", str(path), *map(str, words)])

    return call


def lines(told):
    assert told.exit_code == 0, told.output
    found = told.output.splitlines()
    assert max(map(len, found)) <= 80
    return found


def test_before_and_after_as_text(study):
    found = lines(study("--machine", "N1", "--before", BEFORE, "--after", AFTER, "--part", "PH-12"))
    assert found[0] == "first   N1, part PH-12, program O1201"
    assert found[1] == "        2026-03-10T06:00:00+01:00 to 2026-03-10T09:00:00+01:00"
    assert found[2] == "        coverage 100.0 % of the planned time"
    assert found[4] == "        2026-03-10T09:00:00+01:00 to 2026-03-10T12:00:00+01:00"
    assert found[6] == "Times in Europe/Madrid; s per cycle; intervals 95 %; second against first."
    rows = {line[:22].strip(): line[22:].split() for line in found[8:]}
    assert rows["steady cycles"] == ["107", "70"]
    assert rows["left out: held"] == ["0", "1"]
    assert rows["mean"][:3] == ["40.009", "38.000", "-2.009"]
    assert rows["median, shift"][2] == "-2.000"
    assert rows["tool 7"][:2] == ["30.009", "28.000"]
    assert "step cutting" in rows and "step positioning" not in rows
    assert any(line.startswith("The second is faster by 2.01 s a cycle (95 %: ") for line in found)


def test_two_machines_and_two_programs(study):
    found = lines(study("--machine", "N1", "--with-machine", "N2", "--span", BEFORE))
    assert found[3] == "second  N2, part PH-12, program P7"
    assert "        coverage 66.7 % of the planned time" in found
    found = lines(study("--machine", "N1", "--program", "O1201", "--with-program", "O1202", "--span", "day"))
    assert found[3] == "second  N1, part X, program O1202"


def test_a_part_that_only_one_span_knows_is_told_too(study):
    found = lines(study("--machine", "N1", "--before", BEFORE, "--after", AFTER))
    assert "Not enough cycles: 0 and 9 steady ones; at least 8 of each are needed." in found
    assert any("unknown" in line for line in found)


def test_run_off_as_text(study):
    found = lines(study("--machine", "N1", "--part", "PH-12", "--run-off", 40))
    assert found[0] == "Run-off of N1, part PH-12, program O1201"
    assert found[2] == "Times in Europe/Madrid; intervals 95 %; coverage 100.0 % of the planned time."
    rows = {line[:24].strip(): line[24:].strip() for line in found[4:]}
    assert rows["steady cycles"] == "40 of 40 asked for"
    assert rows["in between"] == "1 held, 1 aborted, 0 partial, 0 other"
    assert rows["planned time or limit"] == "160.000 s"
    assert rows["longest wait"] == "91.0 s from 2026-03-10T10:48:29+01:00"
    assert rows["index (Cmk)"].endswith(", target 1.33")
    assert " ".join(" ".join(found).split()).endswith(
        "Note: The run was not without a break. Cycles in between that are not judged: 1 held, 1 aborted."
    )


def test_run_off_of_a_span_against_another_limit(study):
    words = ("--machine", "N1", "--run-off", 30, "--span", BEFORE, "--limit-s", 40.9, "--target", 1)
    told = " ".join(lines(study(*words)))
    assert "Not reached: Cmk lies between" in told and "below the target of 1.00" in told


def test_json_is_what_the_api_sends(study):
    told = json.loads(study("--machine", "N1", "--before", BEFORE, "--after", AFTER, "--json").output)
    assert told["time_zone"] == "Europe/Madrid"
    assert [row["ruling"] for row in told["items"]] == ["faster", "too_few"]
    judged = json.loads(study("--machine", "N2", "--run-off", 50, "--json").output)["items"]
    assert [(row["machine"], row["count"]) for row in judged] == [("N2", 50)]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--before", BEFORE], "Give --before and --after"),
        (["--before", BEFORE, "--after", AFTER, "--span", "day"], "--span is one span for all"),
        (["--span", "day"], "compares nothing"),
        (["--span", "day", "--with-program", "O2"], "needs --program"),
        (["--run-off", "40", "--after", AFTER], "no second sample"),
        (["--run-off", "1"], "1"),
        (["--run-off", "40", "--limit-s", "0"], "--limit-s"),
    ],
)
def test_wrong_use_is_told_with_its_own_exit_code(study, words, said):
    told = study("--machine", "N1", *words)
    assert (told.exit_code, said in told.output) == (2, True), told.output


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--machine", "N9", "--run-off", "40"], "--machine 'N9': unknown; the plant file has N1, N2, S1"),
        (["--machine", "N1", "--before", "noon", "--after", AFTER], "'noon' is no span"),
        (["--machine", "N1", "--before", BEFORE, "--after", "2026-03-12"], "ahead of the plant's present"),
        (["--machine", "N1", "--before", BEFORE, "--after", "2026-03-10T09:00:00/2026-03-11"], "with an offset"),
        (["--machine", "S1", "--run-off", "40"], "no such cycle of S1"),
        (["--machine", "N1", "--before", "2026-03-08", "--after", "2026-03-09"], "no such cycle in either span"),
    ],
)
def test_what_cannot_be_answered_is_told(study, words, said):
    told = study(*words)
    assert (told.exit_code, said in told.output) == (1, True), told.output
    assert "Traceback" not in told.output


def test_a_database_that_is_not_there_is_not_made(write_plant, tmp_path):
    told = CliRunner().invoke(main, ["study", str(write_plant()), "--machine", "N1", "--run-off", "40"])
    assert (told.exit_code, "there is no database" in told.output) == (1, True)
    assert not (tmp_path / "swarfline.db").exists()
