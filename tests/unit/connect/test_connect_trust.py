"""``swarfline trust``: what is printed, asked and kept; exit codes."""

import asyncio
import threading

import pytest
from click.testing import CliRunner

from swarfline.cli import main

from .secured import Secured, certificate

FILE = """
plant = {{ name = "Works", time_zone = "UTC" }}
[[servers]]
id = "line"
endpoint = "opc.tcp://127.0.0.1:{port}/line"
security = {{ policy = "Basic256Sha256" }}
machines = [{{ id = "N1", signals = {{ state = "mch:State", part_count = "mch:Count" }} }}]
[[servers]]
id = "open"
endpoint = "opc.tcp://127.0.0.1:4840"
machines = [{{ id = "N2", signals = {{ state = "mch:State", part_count = "mch:Count" }} }}]
"""


@pytest.fixture
def works(tmp_path, free_port):
    """A plant file, and its secured server in a thread."""
    file = tmp_path / "plant.toml"
    file.write_text(FILE.format(port=free_port))
    loop, ready, end = asyncio.new_event_loop(), threading.Event(), asyncio.Event()

    async def serve():
        async with Secured(free_port, tmp_path, certificate()):
            ready.set()
            await end.wait()

    thread = threading.Thread(target=loop.run_until_complete, args=(serve(),))
    thread.start()
    assert ready.wait(30)
    yield file
    loop.call_soon_threadsafe(end.set)
    thread.join()
    loop.close()


def trust(*words, answer=None):
    return CliRunner().invoke(main, ["trust", *map(str, words)], input=answer)


@pytest.mark.system
def test_a_person_sees_approves_lists_and_forgets(works):
    refused = trust(works, answer="n\n")
    assert refused.exit_code == 1
    assert "hosts: 127.0.0.1" in refused.output
    assert "nothing was changed" in refused.output
    assert "NOT approved" in trust(works, "--list").output
    given = trust(works, "line", answer="y\n")
    assert given.exit_code == 0
    fingerprint = next(x.split()[1] for x in given.output.splitlines() if x.startswith("SHA-256:"))
    listed = trust(works, "--list").output.splitlines()
    assert listed == [
        f"line: Basic256Sha256, SignAndEncrypt: approved, SHA-256 {fingerprint}",
        "open: no security (policy None)",
    ]
    assert "approved already" in trust(works, "line", "--fingerprint", fingerprint).output
    assert trust(works, "line", "--fingerprint", "00").exit_code == 1
    assert "approved no longer" in trust(works, "line", "--forget").output
    assert "NOT approved" in trust(works, "--list").output


def test_our_own_certificate_is_shown(tmp_path):
    file = tmp_path / "plant.toml"
    file.write_text(FILE.format(port=9))
    first, second = trust(file, "--own"), trust(file, "--own")
    assert first.exit_code == 0
    assert first.output == second.output
    assert "application URI: urn:swarfline:" in first.output


def test_wrong_use_is_told(tmp_path):
    file = tmp_path / "plant.toml"
    file.write_text(FILE.format(port=9))
    assert trust(file, "elsewhere").exit_code == 2
    unsecured = trust(file, "open")
    assert unsecured.exit_code == 1
    assert "asks for no security" in unsecured.output
