"""A password is looked for wherever the service as a process of its own shows or keeps anything."""

import asyncio
import os
import signal
import socket
import subprocess
import sys
import time

import httpx
import pytest

from swarfline.connect import pins
from swarfline.connect.certificates import folder_of

from .secured import PASSWORD, USER, OneUser, Secured, certificate

pytestmark = pytest.mark.system

WRONG = "Falsch-und-geheim-0815"
PAGES = ("/", "/connections", "/machines/N1", "/api/openapi.json", "/metrics", "/api/v1/plant", "/api/v1/machines")
FILE = """
plant = {{ name = "Works", time_zone = "UTC" }}
listen = {{ port = {port} }}
namespaces = {{ line = "urn:test:line" }}
[[servers]]
id = "line"
endpoint = "{url}"
security = {{ policy = "Basic256Sha256", user = "{user}", password_env = "LINE_PASSWORD" }}
[[servers.machines]]
id = "N1"
root = "line:N1"
[servers.machines.signals]
state = {{ node = "line:State", values = {{ 3 = "executing" }} }}
part_count = "line:Count"
"""


def swarfline(*words):
    return [sys.executable, "-c", "from swarfline.cli import main; main()", *map(str, words)]


def connection(client):
    """The one server as the API tells it, once an attempt has come to an end."""
    until_s = time.monotonic() + 60
    while time.monotonic() < until_s:
        try:
            (server,) = client.get("/api/v1/servers").json()["items"]
        except (httpx.TransportError, KeyError, ValueError):
            server = {}
        if server.get("state") == "connected" or server.get("last_error"):
            return server
        time.sleep(0.1)
    raise AssertionError("the service showed no connection in 40 s")


def told_and_kept(file, port, env):
    """(the server as the API tells it, all that a run and a check online print, send and keep)."""
    with (file.parent / "log.txt").open("wb") as log:
        process = subprocess.Popen(swarfline("run", file), env=env, stdout=log, stderr=log)
        check = subprocess.Popen(
            swarfline("check", file, "--online", "--json"),
            env=env,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
        )
        try:
            with httpx.Client(base_url=f"http://127.0.0.1:{port}", timeout=60) as client:
                server = connection(client)
                shown = [repr(server).encode()]
                for page in PAGES:
                    answer = client.get(page)
                    assert answer.status_code == 200, page
                    shown.append(answer.content)
        finally:
            process.send_signal(signal.SIGINT)
            checked, _ = check.communicate(timeout=60)
            process.wait(30)
    kept = [p.read_bytes() for p in file.parent.rglob("*") if p.is_file()]
    return server, b"".join([*shown, checked, *kept])


@pytest.mark.parametrize("password", [PASSWORD, WRONG])
async def test_a_password_is_nowhere_to_be_found(tmp_path, password, free_port):
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        page_port = probe.getsockname()[1]
    place = tmp_path / "plant"
    place.mkdir()
    der = certificate()
    pins.keep(folder_of(str(place / "plant.toml")), "line", pins.Pin(der))
    async with Secured(free_port, tmp_path, der, user_manager=OneUser()) as server:
        file = place / "plant.toml"
        file.write_text(FILE.format(port=page_port, url=server.url, user=USER))
        told, everything = await asyncio.to_thread(
            told_and_kept, file, page_port, {**os.environ, "LINE_PASSWORD": password}
        )
    assert told["security"] == "Basic256Sha256, SignAndEncrypt"
    assert told["user"] == "user name"
    assert (told["state"] == "connected") is (password == PASSWORD)
    if password == WRONG:
        # it failed for the password, not before it was read
        assert "refuses this user" in told["last_error"]
    assert b"server line" in everything
    assert b"geheim" not in everything
