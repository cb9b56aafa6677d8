"""swarfline alert: lists, history, acknowledging and shelving at the computer of the service."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner

from swarfline import clock
from swarfline.alerts import Alert
from swarfline.cli import main
from swarfline.store import Batch, Store

NEAR = Alert("tool_near_limit", "N1", "1/7", "warning", "Tool 7 near its limit", 0)


@pytest.fixture
def file(write_plant):
    """A plant file with a database in which an alert stands."""
    path = write_plant()
    store = Store.open("sqlite:///swarfline.db", path)
    raised = Alert(*NEAR.subject_key, NEAR.severity, NEAR.text, clock.now_us() - 60_000_000)
    store.writer().commit(Batch(raised=[raised]))
    store.close()
    return path


def call(*words: object, code=0):
    told = CliRunner().invoke(main, ["alert", *(str(word) for word in words)])
    assert told.exit_code == code, told.output
    return told.output


def row(file):
    (found,) = json.loads(call("list", file, "--json"))
    return found


@pytest.mark.parametrize(
    "words", [[], ["list"], ["history"], ["acknowledge"], ["unacknowledge"], ["shelve"], ["unshelve"]]
)
def test_every_command_explains_itself(words):
    assert "Usage: main alert" in call(*words, "--help")


def test_what_stands(file):
    assert "warning" in call("list", file) and "not acknowledged" in call("list", file)
    assert row(file)["text"] == NEAR.text
    assert call("list", file, "--shelved").strip() == "no alert stands"
    assert "unknown; the plant file has" in call("list", file, "--machine", "N9", code=1)


def test_acknowledged_and_its_history(file):
    call("acknowledge", file, 1, "--who", "Ana", "--note", "new one is set")
    assert row(file)["acknowledged"]["who"] == "Ana"
    assert call("list", file, "--unacknowledged").strip() == "no alert stands"
    told = call("history", file, 1)
    assert "acknowledged by Ana: new one is set (warning)" in told
    assert "was acknowledged by Ana" in call("acknowledge", file, 1, "--who", "Luis", code=1)
    assert NEAR.text in call("history", file)


def test_an_acknowledgement_is_taken_back(file):
    call("acknowledge", file, 1, "--who", "Ana")
    told = call("unacknowledge", file, 1, "--who", "Luis", "--note", "wrong machine")
    assert "unacknowledged by Luis: wrong machine (warning)" in told and "acknowledged by Ana" in told
    assert row(file)["acknowledged"] is None
    assert "is not acknowledged" in call("unacknowledge", file, 1, "--who", "Luis", code=1)


def test_shelved_and_back(file):
    told = json.loads(call("shelve", file, 1, "--minutes", 30, "--who", "Ana", "--json"))
    assert told["shelved"]["who"] == "Ana"
    assert "shelved until" in call("list", file, "--shelved")
    call("unshelve", file, 1, "--who", "Ana")
    assert row(file)["shelved"] is None
    assert "not shelved" in call("unshelve", file, 1, "--who", "Ana", code=1)


@pytest.mark.parametrize(
    ("words", "code", "told"),
    [
        (["shelve", 1, "--who", "Ana"], 2, "one of the two"),
        (["shelve", 1, "--who", "Ana", "--minutes", 99_999], 1, "minutes"),
        (["shelve", 1, "--who", "Ana", "--minutes", 5000], 1, "at most 72 h"),
        (["shelve", 1, "--who", "Ana", "--until", "soon"], 1, "until"),
        (["acknowledge", 1, "--who", " "], 1, "who"),
        (["acknowledge", 1], 2, "--who"),
        (["acknowledge", 2, "--who", "Ana"], 1, "there is no alert '2'"),
        (["history", 2], 1, "there is no alert '2'"),
    ],
)
def test_what_cannot_be_meant(file, words, code, told):
    command, *rest = words
    assert told in call(command, file, *rest, code=code)
    assert (row(file)["acknowledged"], row(file)["shelved"]) == (None, None)


def test_without_a_database_none_is_made(write_plant):
    path = write_plant()
    assert "there is no database" in call("list", path, code=1)
    assert not list(path.parent.glob("*.db"))
