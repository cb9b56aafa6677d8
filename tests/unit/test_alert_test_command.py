"""swarfline alert test: one message at once, and what became of it."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner
from watch.channels.receivers import receiving

from swarfline.cli import main


@pytest.fixture
def receiver():
    with receiving() as server:
        yield server


@pytest.fixture
def file(write_plant, small_plant, receiver):
    quiet = 'quiet = { start = "00:00", end = "00:00" }'
    return write_plant(
        f'{small_plant}[[channels]]\nid = "shop"\n{quiet}\nwebhook = {{ url = "{receiver.url}" }}\n'
    )


def call(*words, code=0):
    told = CliRunner().invoke(main, ["alert", "test", *map(str, words)])
    assert told.exit_code == code, told.output
    return told.output


def test_taken_whatever_the_hour(file, receiver):
    assert call(file, "shop") == "channel shop: the test message was taken\n"
    (post,) = receiver.posts
    assert post.told["type"] == "test"
    assert "Nothing has happened" in post.told["text"]
    assert json.loads(call(file, "shop", "--json")) == {"channel": "shop", "sent": True, "said": ""}
    assert len(set(receiver.keys)) == 2


@pytest.mark.parametrize("status", [404, 503])
def test_not_taken(file, receiver, status):
    receiver.otherwise = status
    said = f"127.0.0.1 answers {status}"
    assert f"channel shop: the test message could not be sent: {said}" in call(file, "shop", code=1)
    told = json.loads(call(file, "shop", "--json", code=1))
    assert (told["sent"], told["said"][: len(said)]) == (False, said)


def test_no_such_channel(file):
    assert "'office' is no channel of the plant file (there are: shop)" in call(file, "office", code=2)


def test_it_explains_itself():
    assert "Usage: main alert test" in call("--help")
