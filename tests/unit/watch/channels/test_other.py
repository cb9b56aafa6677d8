"""Other services through the library, with one that it reaches by HTTP; and the list of channels."""

from __future__ import annotations

import builtins
from dataclasses import replace
from pathlib import Path

import pytest

from swarfline.messages import Attachment, Message
from swarfline.plant.channels import ChannelTable, OtherTable
from swarfline.watch import channels
from swarfline.watch.channels import channel_of
from swarfline.watch.channels.other import Other
from swarfline.watch.deliver import Later

from .receivers import receiving

# of the library, where it is imported first
pytestmark = pytest.mark.filterwarnings("ignore:'imghdr' is deprecated:DeprecationWarning")

MESSAGE = Message("shop", "raised-1", "N1: tool 7", "Tool 7: 95 of 100", 1, data={"severity": "urgent"})


def test_each_file_is_a_kind_of_channel_and_each_kind_a_file():
    files = {path.stem for path in Path(channels.__file__).parent.glob("*.py")} - {"__init__", "deadline"}
    tables = {"webhook": {"url": "http://x/"}, "other": {"url_env": "X"}}
    tables["mail"] = {"host": "x", "sender": "a@x.example", "recipients": ["b@x.example"]}
    made = {kind: channel_of(ChannelTable(id="c", **{kind: keys}), Path()) for kind, keys in tables.items()}
    assert files == set(tables)
    assert {kind: type(channel).__module__.rpartition(".")[2] for kind, channel in made.items()} == {
        kind: kind for kind in files
    }


@pytest.fixture
def service(monkeypatch):
    with receiving() as receiver:
        monkeypatch.setenv("SERVICE", f"json://127.0.0.1:{receiver.server_port}/token-4711")
        yield receiver


def test_a_service_gets_subject_and_text(service, tmp_path):
    assert Other(OtherTable(url_env="SERVICE"), tmp_path).send(MESSAGE, 1) == ""
    told = service.posts[0].told
    assert (told["title"], told["message"], told["type"]) == (MESSAGE.subject, MESSAGE.text, "failure")


def test_attachments_are_named_and_the_remark_is_kept(service, tmp_path):
    report = replace(MESSAGE, attachments=(Attachment("week.pdf", "application/pdf", b"%PDF"),), data={})
    assert Other(OtherTable(url_env="SERVICE"), tmp_path).send(report, 1) == "sent without its attachments"
    assert "(not sent along: week.pdf)" in service.posts[0].told["message"]


def test_a_service_that_does_not_take_it(service, tmp_path, caplog):
    service.answers = [500]
    with pytest.raises(Later, match="did not take it") as caught:
        Other(OtherTable(url_env="SERVICE"), tmp_path).send(MESSAGE, 1)
    assert "4711" not in str(caught.value) + caplog.text


def test_a_url_that_the_library_does_not_know(tmp_path):
    (tmp_path / "url.txt").write_text("nosuchservice://token-4711\n")
    with pytest.raises(Later, match="does not know a service by this URL") as caught:
        Other(OtherTable(url_file="url.txt"), tmp_path).send(MESSAGE, 1)
    assert "4711" not in str(caught.value)


def test_without_the_library(tmp_path, monkeypatch):
    def without(name, *rest, load=builtins.__import__):
        if name == "apprise":
            raise ImportError
        return load(name, *rest)

    monkeypatch.setattr(builtins, "__import__", without)
    with pytest.raises(Later, match=r"pip install \"swarfline\[notify\]\""):
        Other(OtherTable(url_file="url.txt"), tmp_path).send(MESSAGE, 1)
