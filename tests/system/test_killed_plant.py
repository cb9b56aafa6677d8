"""The machines' server is killed (kill -9) and comes back: it is told meanwhile, and only that time is missing."""

from __future__ import annotations

import re

import pytest

from swarfline.serve.presence import SILENCE_US

from .outages import Watch, assert_true_but_for_gaps
from .processes import moment
from .waiting import until
from .works import START_US

pytestmark = pytest.mark.system

LOST = re.compile(r"WARNING server line \(opc\.tcp://\S+\): connection lost: .+; next attempt in (\d+\.\d) s")
REFUSED = re.compile(
    r"WARNING server line \(opc\.tcp://\S+\): cannot connect: .+ refused.*; next attempt in (\d+\.\d) s"
)


def test_while_it_is_away_and_after_it_is_back(works):
    simulator = works.start_simulator()
    simulator.ready()
    service = works.start_service()
    service.connected()
    works.every_machine_made(1, works.plant_us)

    watch = Watch(works, service.api.now())
    simulator.kill()
    watch.lost()
    # the loss itself tells it; that nothing was stored for a while would show only after SILENCE_US
    until("machines out of sight", lambda: not any(n["linked"] for n in service.api.now()), SILENCE_US / 2e6)
    for now in service.api.now():
        assert now["condition"] == "unobserved"
        assert now["values"] == []
        assert now["cycle"] is None
    until("an attempt that failed", lambda: len(REFUSED.findall(service.text)) >= 2)
    server = until("waiting", lambda: _waiting(service.api.server()))
    assert "refused" in server["last_error"]
    assert server["next_attempt_us"] > server["since_us"]
    (lost,) = LOST.findall(service.text)
    delays_s = [float(delay) for delay in (lost, *REFUSED.findall(service.text))]
    assert delays_s == sorted(delays_s)
    assert delays_s[-1] > delays_s[0]

    watch.returning()
    simulator = works.start_simulator()
    service.connected()
    outages = [watch.back()]
    until("the state of the connection", lambda: service.api.server()["reconnects"] == 1)
    works.every_machine_made(1, works.plant_us)
    told = works.end_simulator(simulator, service)
    for machine in works.machines:
        assert_true_but_for_gaps(told[machine], works.truth, outages)
    assert sum(c["quantity"] for each in told.values() for c in each.counts if c["across_gap"]) > 0
    assert all(row["coverage_pct"] < 100 for row in service.api.rows("/oee", **{"from": moment(START_US)}))
    assert "Traceback" not in service.text


def _waiting(server):
    return server if server["state"] == "waiting" else None
