"""swarfline user: what it says, what it changes, and that a running service takes it at once."""

from __future__ import annotations

import json
import re
import ssl
import subprocess
import sys
from pathlib import Path

import httpx
import pytest
from click.testing import CliRunner

from swarfline import passwords
from swarfline.cli import main
from swarfline.passwords import Cost
from swarfline.serve.signing import digest_of
from swarfline.store import Store

sys.path.append(str(Path(__file__).parents[1]))
from certified import self_made

COMMAND = (sys.executable, "-c", "from swarfline.cli import main; main()")
PASSWORD = "lathe mill drill saw"


@pytest.fixture
def plant(write_plant, small_plant, free_port, monkeypatch):
    monkeypatch.setattr(passwords.hashed, "__defaults__", (Cost(4, 8, 1),))
    return write_plant(f"{small_plant}\n[listen]\nport = {free_port}\nusers = true\n")


def call(*words: object, given: str | None = None):
    return CliRunner().invoke(main, ["user", *(str(word) for word in words)], input=given)


def add(plant, name="Ana", role="engineer"):
    told = call("add", plant, name, "--role", role, given=f"{PASSWORD}\n{PASSWORD}\n")
    assert told.exit_code == 0, told.output
    return told


def kept(plant):
    store = Store.open("sqlite:///swarfline.db", plant)
    found = {one.name: (one.role, store.users.find(one.name)[1]) for one in store.users.all()}
    signs = store.users.sign_ins()
    store.close()
    return found, signs


def test_every_command_explains_itself():
    text = " ".join(call("--help").output.split())
    for name in ("add", "list", "set-password", "set-role", "remove", "sessions", "token"):
        assert name in text
        assert len(call(name, "--help").output.splitlines()) > 5
    assert "viewer looks; operator also enters" in text


def test_the_password_is_typed_twice_and_shown_nowhere(plant):
    told = add(plant)
    assert PASSWORD not in told.output and "Ana: added as engineer" in told.output
    (role, password) = kept(plant)[0]["Ana"]
    assert role == "engineer" and passwords.matches(PASSWORD, password)
    other = call("add", plant, "Bea", "--role", "viewer", given=f"{PASSWORD}\nanother one to be\n")
    assert other.exit_code != 0 and set(kept(plant)[0]) == {"Ana"}


def test_the_password_comes_from_the_first_line_of_a_file_or_of_the_input(plant, tmp_path):
    file = tmp_path / "password"
    file.write_text(f"{PASSWORD}\nmore\n", encoding="utf-8")
    assert call("add", plant, "Ana", "--role", "viewer", "--password-file", file).exit_code == 0
    assert (
        call("add", plant, "Bea", "--role", "viewer", "--password-file", "-", given=f"{PASSWORD}\r\n").exit_code
        == 0
    )
    assert all(passwords.matches(PASSWORD, password) for _, password in kept(plant)[0].values())


@pytest.mark.parametrize(
    ("words", "given", "text"),
    [
        (("add", "x/y", "--role", "viewer"), None, "the name 'x/y' must begin with a letter"),
        (("add", "Bea", "--role", "viewer"), "short\nshort\n", "the password has 5 characters; at least 12"),
        (("add", "Bea", "--role", "viewer", "--password-file", "-"), "", "the password has 0 characters"),
        (("add", "ANA", "--role", "viewer", "--no-password"), None, "there is a user 'ANA' already"),
        (("set-role", "Bea", "viewer"), None, "there is no user 'Bea'; there are Ana"),
        (("set-password", "Bea"), None, "there is no user 'Bea'"),
        (("remove", "Bea"), None, "there is no user 'Bea'"),
        (("sessions", "Bea"), None, "there is no user 'Bea'"),
        (("token", "Bea", "--days", "1"), None, "there is no user 'Bea'"),
    ],
)
def test_what_cannot_be_done_is_said_and_changes_nothing(plant, words, given, text):
    add(plant)
    before = kept(plant)
    told = call(words[0], plant, *words[1:], given=given)
    assert (told.exit_code, kept(plant)) == (1, before)
    assert text in told.output


def test_wrong_use_has_its_own_exit_code(plant):
    assert call("add", plant, "Ana", "--role", "owner").exit_code == 2
    assert call("add", plant, "Ana").exit_code == 2
    assert call("sessions", plant, "--end").exit_code == 2
    assert call("token", plant, "Ana", "--days", "0").exit_code == 2


def test_commands_that_look_make_no_database(plant):
    for words in (("list",), ("sessions",), ("remove", "Ana")):
        told = call(words[0], plant, *words[1:])
        assert told.exit_code == 1 and "there is no database" in told.output
    assert not plant.with_name("swarfline.db").exists()


def test_users_are_listed_changed_and_removed(plant):
    add(plant)
    call("add", plant, "Hall", "--role", "viewer", "--no-password")
    call("token", plant, "Hall", "--days", 7, "--about", "north wall")
    told = json.loads(call("list", plant, "--json").output)
    assert [(u["name"], u["role"], u["has_password"], u["tokens"]) for u in told] == [
        ("Ana", "engineer", True, 0), ("Hall", "viewer", False, 1),
    ]  # fmt: skip
    assert "Hall" in call("list", plant).output
    assert call("set-role", plant, "hall", "operator").exit_code == 0
    assert json.loads(call("sessions", plant, "--json").output) == []
    new = "another set of words"
    assert call("set-password", plant, "Ana", given=f"{new}\n{new}\n").exit_code == 0
    assert passwords.matches(new, kept(plant)[0]["Ana"][1])
    assert call("remove", plant, "Ana").exit_code == 0
    assert set(kept(plant)[0]) == {"Hall"}


def test_a_token_is_shown_once_and_leads_a_screen_by_a_link_that_no_log_holds(plant):
    add(plant, role="operator")
    told = call("token", plant, "Ana", "--days", 7, "--about", "north wall", "--page", "/wall")
    secret = re.search(r"^token: (\S{43})$", told.output, re.MULTILINE)[1]
    assert re.search(rf"http://127.0.0.1:\d+/sign-in#token={secret}&to=%2Fwall$", told.output, re.MULTILINE)
    (one,) = kept(plant)[1]
    assert (one.digest, one.role, one.about) == (digest_of(secret), "viewer", "north wall")
    assert one.ends_us - one.made_us == 7 * 86_400_000_000
    assert secret.encode() not in plant.with_name("swarfline.db").read_bytes()
    (listed,) = json.loads(call("sessions", plant, "ana", "--json").output)
    assert (listed["kind"], listed["user"], "digest" in listed) == ("token", "Ana", False)
    assert "north wall" in call("sessions", plant).output
    assert "link" not in call("token", plant, "Ana", "--days", 1, "--role", "operator").output
    refused = call("token", plant, "Ana", "--days", 1, "--role", "engineer")
    assert (refused.exit_code, "Ana is operator; a token cannot be engineer" in refused.output) == (1, True)
    assert call("sessions", plant, "Ana", "--end").output.strip() == "Ana: 2 session(s) and token(s) ended"
    assert kept(plant)[1] == []


def test_a_service_with_users_does_not_start_before_there_is_one(plant):
    told = subprocess.run(
        [*COMMAND, "run", plant, "--only", "serve"], stderr=subprocess.PIPE, text=True, timeout=60
    )
    assert told.returncode == 1
    assert f"there is no user yet; make the first one: swarfline user add {plant} NAME" in told.stderr


def test_adding_says_where_nobody_has_to_sign_in_yet(write_plant, small_plant):
    told = call("add", write_plant(small_plant), "Hall", "--role", "viewer", "--no-password")
    assert told.exit_code == 0 and "does not say users = true" in told.output


def test_check_and_run_tell_what_is_wrong_with_the_certificate(write_plant, small_plant):
    plant = write_plant(f'{small_plant}\n[listen]\nusers = true\ncertificate = "a.pem"\nkey = "a.key"\n')
    for words in (["check", str(plant)], ["run", str(plant)]):
        told = CliRunner().invoke(main, words)
        assert told.exit_code == 1 and "a.pem cannot be read: No such file" in told.output


@pytest.mark.system
def test_a_running_service_takes_what_the_command_does(write_plant, small_plant, free_port, tmp_path):
    certificate, _ = self_made(tmp_path)
    listen = f'port = {free_port}\nusers = true\ncertificate = "plant.pem"\nkey = "plant.key.pem"\n'
    plant = write_plant(f"{small_plant}\n[listen]\n{listen}")
    assert call("add", plant, "Hall", "--role", "viewer", "--no-password").exit_code == 0
    token = re.search(r"^token: (\S+)$", call("token", plant, "Hall", "--days", 1).output, re.MULTILINE)[1]
    service = subprocess.Popen([*COMMAND, "run", plant, "--only", "serve"], stderr=subprocess.PIPE, text=True)
    try:
        assert service.stderr is not None
        line = next(line for line in service.stderr if "page and API" in line)
        address = f"https://127.0.0.1:{free_port}/"
        assert line.rstrip().endswith(address)
        headers = {"authorization": f"Bearer {token}"}
        with httpx.Client(
            base_url=address, verify=ssl.create_default_context(cafile=str(certificate)), headers=headers
        ) as http:
            assert http.get("/api/v1/plant").status_code == 200
            assert call("remove", plant, "Hall").exit_code == 0
            assert http.get("/api/v1/plant").status_code == 401
    finally:
        service.terminate()
        told = service.communicate(timeout=60)[1]
    assert service.returncode == 0 and token not in told
