"""The machines' server is not there at all: the service runs, says so, tries on, and ends when told to."""

from __future__ import annotations

import re
import signal

import pytest

from .waiting import until

pytestmark = pytest.mark.system

CANNOT = re.compile(
    r"WARNING server line \(opc\.tcp://127\.0\.0\.1:(\d+)/swarfline-sim\): cannot connect: connection refused: "
    r".+; next attempt in (\d+\.\d) s"
)


def test_a_server_that_was_never_there(works):
    service = works.start_service()
    api = service.api
    assert api.status("/health/live") == 200
    assert api.status("/health/ready") == 200
    for now in api.now():
        assert (now["condition"], now["linked"], now["at"], now["values"]) == ("unobserved", False, None, [])
    until("three attempts", lambda: len(CANNOT.findall(service.text)) >= 3)
    told = CANNOT.findall(service.text)
    assert {port for port, _ in told} == {str(works.port)}
    delays_s = [float(delay) for _, delay in told]
    assert delays_s == sorted(delays_s)
    assert delays_s[-1] > delays_s[0]
    until("the state of the connection", lambda: api.server()["attempts"] >= 3)
    server = until("waiting", lambda: server if (server := api.server())["state"] == "waiting" else None)
    assert server["last_error"].startswith("connection refused")
    assert server["next_attempt_us"] > server["since_us"]
    assert api.status("/health/ready") == 200
    assert api.facts(works.machines[0], "cycles") == []
    assert service.end(signal.SIGTERM) == 0
    assert "Traceback" not in service.text


def test_a_signal_while_it_waits_for_the_next_attempt_ends_it(works):
    service = works.start_service()
    until("an attempt", lambda: CANNOT.search(service.text))
    assert service.end(signal.SIGINT) == 0
    assert "Traceback" not in service.text
