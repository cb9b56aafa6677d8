"""The commands: what they say, and their exit codes."""

from __future__ import annotations

import json
import socket
import subprocess
import sys

import pytest
from click.testing import CliRunner

from swarfline.cli import main

COMMAND = [sys.executable, "-c", "from swarfline.cli import main; main()"]


def call(*words: object):
    return CliRunner().invoke(main, [str(word) for word in words])


@pytest.mark.parametrize(
    "words",
    [["--help"], ["-h"], ["check", "-h"], ["run", "--help"], ["demo", "--help"], ["study", "-h"], ["watch", "-h"]],
)
def test_every_command_explains_itself(words):
    told = call(*words)
    assert told.exit_code == 0
    assert "Usage: main" in told.output
    assert len(told.output.splitlines()) > 5


def test_the_first_help_names_every_command_and_the_limits_of_the_program():
    text = " ".join(call("--help").output.split())
    assert all(name in text for name in ("check", "run", "demo", "study", "watch"))
    assert "never commands one" in text
    assert "no safety device" in text


def test_check_of_a_good_file(write_plant):
    told = call("check", write_plant())
    assert (told.exit_code, told.output.strip()[-32:]) == (0, "fine: 1 server(s), 1 machine(s)"[-32:].rjust(32))
    assert json.loads(call("check", write_plant(), "--json").output) == {
        "ok": True,
        "machines": ["N1"],
        "notes": [],
    }


def test_check_notes_planned_steps_that_take_longer_than_planned(write_plant, small_plant):
    steps = 'planned_steps = [{ tool = "1", cutting_s = 200 }, { tool = "1", cutting_s = 10.5 }]\n'
    part = '[[parts]]\nid = "PH-12"\nplanned_cycle_time_s = 180\n'
    file = write_plant(f"{small_plant}\n{part}{steps}")
    note = "[[parts]] 'PH-12' on N1: the planned steps add up to 210.5 s, more than planned_cycle_time_s = 180"
    told = call("check", file)
    assert (told.exit_code, told.output.splitlines()[-1]) == (0, f"note: {note}")
    assert json.loads(call("check", file, "--json").output)["notes"] == [note]


def test_check_of_a_bad_file_tells_every_error(write_plant, small_plant):
    bad = write_plant(small_plant.replace("Europe/Madrid", "Europe/Madird") + "\n[stor]\n")
    told = call("check", bad)
    assert told.exit_code == 1
    assert "did you mean 'store'?" in told.output
    assert "did you mean 'Europe/Madrid'?" in told.output
    as_json = call("check", bad, "--json")
    assert as_json.exit_code == 1
    assert json.loads(as_json.output)["errors"] == told.output.splitlines()


@pytest.mark.parametrize("command", ["run"])
def test_a_file_that_is_not_there_or_wrong_is_told_without_a_traceback(command, tmp_path):
    told = call(command, tmp_path / "none.toml")
    assert told.exit_code == 1
    assert "none.toml: cannot be read" in told.output


def test_an_address_of_the_outside_is_refused(write_plant, small_plant):
    told = call("run", write_plant(small_plant + '\n[listen]\nhost = "0.0.0.0"\n'))
    assert told.exit_code == 1
    assert "write users = true" in told.output
    assert "name the 'certificate' and 'key' of TLS" in told.output


@pytest.mark.parametrize("command", ["run", "demo"])
def test_a_port_in_use_is_told(command, write_plant, small_plant):
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        plant = write_plant(small_plant + f"\n[listen]\nport = {port}\n")
        told = call("run", plant) if command == "run" else call("demo", "--port", port, "--no-browser")
    assert told.exit_code == 1
    assert f"cannot listen on 127.0.0.1 port {port}" in told.output
    assert "choose another port" in told.output


def test_a_database_that_cannot_be_opened_is_told(write_plant, tmp_path, free_port, small_plant):
    tables = f'\n[listen]\nport = {free_port}\n[store]\nurl = "sqlite:///nowhere/at/all.db"\n'
    told = call("run", write_plant(small_plant + tables))
    assert told.exit_code == 1
    assert "nowhere/at/all.db" in told.output
    assert "Traceback" not in told.output


@pytest.mark.parametrize("words", [[], ["--only", "collect"]])
def test_a_second_collector_is_refused_at_its_start(write_plant, small_plant, free_port, words):
    from swarfline.store import Store

    path = write_plant(small_plant + f"\n[listen]\nport = {free_port}\n")
    first = Store.open("sqlite:///swarfline.db", path)
    with first.claimed():
        told = call("run", path, *words)
    assert told.exit_code == 1
    assert "another process collects into the database" in told.output
    assert first.queries.servers() == []
    first.close()


def test_a_folder_with_an_unfinished_demo_is_refused(tmp_path):
    (tmp_path / "swarfline.db").write_bytes(b"")
    told = call("demo", "--dir", tmp_path, "--port", 0, "--no-browser")
    assert told.exit_code == 1
    assert "holds a database but no finished demo" in told.output


def test_wrong_use_has_its_own_exit_code():
    assert call("run").exit_code == 2
    assert call("demo", "--days", 0).exit_code == 2
    assert call("run", "plant.toml", "--only", "other").exit_code == 2


def test_the_installed_command_starts():
    told = subprocess.run([*COMMAND, "--version"], capture_output=True, text=True, timeout=60, check=True)
    assert told.stdout.strip()


def rebuilt(tmp_path, write_plant):
    from collect.line import START, history, plant_of

    from swarfline.collect import Pipeline
    from swarfline.store import Store

    path = write_plant()
    store = Store.open("sqlite:///swarfline.db", path)
    pipeline = Pipeline(plant_of(tmp_path, "N1"), store)
    pipeline.commit(pipeline.take(history("N1", 3), START))
    store.close()
    return path


def test_rebuild_says_what_it_changed(tmp_path, write_plant):
    path = rebuilt(tmp_path, write_plant)
    dry = call("rebuild", path, "--dry-run")
    assert dry.exit_code == 0
    # the small plant file maps no counter of good parts, so what was counted there goes; and no spindle, so that
    # the steps of the cycles are no longer known
    said = " ".join(dry.output.split())
    assert "N1 cycle 3 changed 0 added 0 removed" in said
    assert "N1 count 0 changed 0 added 2 removed" in said
    assert call("rebuild", path).output == dry.output
    again = call("rebuild", path, "--machine", "N1")
    assert "nothing changed: all" in again.output
    told = json.loads(call("rebuild", path, "--json").output)
    assert told["N1"]["cycle"]["changed"] == 0 < told["N1"]["cycle"]["kept"]


def test_rebuild_refuses_what_it_cannot_do(tmp_path, write_plant):
    path = write_plant()
    missing = call("rebuild", path)
    assert (missing.exit_code, "there is no database" in missing.output) == (1, True)
    assert not (tmp_path / "swarfline.db").exists()
    rebuilt(tmp_path, write_plant)
    assert "unknown; the plant file has N1" in call("rebuild", path, "--machine", "N9").output
    assert "no RFC 3339 time" in call("rebuild", path, "--from", "yesterday").output
    naive = call("rebuild", path, "--to", "2026-03-10T06:00:00")
    assert (naive.exit_code, "has no offset" in naive.output) == (2, True)
