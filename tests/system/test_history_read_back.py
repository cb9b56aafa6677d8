"""A simulator that keeps history: frozen, then the service killed, and all is told as if nothing had been."""

from __future__ import annotations

import signal

import pytest

from .outages import assert_true_but_for_gaps
from .waiting import until

pytestmark = pytest.mark.system


def readbacks(service) -> int:
    return service.api.server()["readbacks"] or 0


def test_no_gap_is_left_where_the_server_kept_what_happened(works, pause):
    simulator = works.start_simulator("--history")
    simulator.ready()
    service = works.start_service()
    service.connected()
    works.every_machine_made(1, works.plant_us)

    # the server stands still until the connection is given up, and then goes on
    simulator.send(signal.SIGSTOP)
    until("the loss of the connection", lambda: service.api.server()["state"] != "connected")
    simulator.send(signal.SIGCONT)
    service.connected()
    until("the history of each machine", lambda: readbacks(service) >= len(works.machines))
    works.every_machine_made(1, works.plant_us)

    # the service is killed, and the machines go on making parts
    service.kill()
    works.every_machine_made(1, works.plant_us)
    service = works.start_service()
    service.connected()
    until("the history of each machine", lambda: readbacks(service) >= len(works.machines))
    works.every_machine_made(1, works.plant_us)

    told = works.end_simulator(simulator, service)
    for machine in works.machines:
        assert told[machine].gaps == []
        assert not any(c["across_gap"] for c in told[machine].counts)
        assert_true_but_for_gaps(told[machine], works.truth, [])
        assert works.truth.totals(machine)["parts"] == sum(c["parts"] for c in works.truth.of(machine, "cycle"))
