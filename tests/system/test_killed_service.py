"""The service is killed (kill -9) while it works: after the restart only the time out of sight is missing."""

from __future__ import annotations

import random

import pytest

from .outages import Watch, assert_true_but_for_gaps
from .processes import moment
from .works import START_US

pytestmark = pytest.mark.system


def test_killed_twice_it_goes_on_as_if_nothing_had_been_but_the_gaps(works, pause):
    simulator = works.start_simulator()
    simulator.ready()
    service = works.start_service()
    service.connected()
    outages = []
    for _ in range(2):
        works.every_machine_made(1, works.plant_us)
        pause(random.uniform(0, 0.5))
        watch = Watch(works, service.api.now())
        service.kill()
        watch.lost()
        works.every_machine_made(1, works.plant_us)
        watch.returning()
        service = works.start_service()
        service.connected()
        outages.append(watch.back())
    works.every_machine_made(1, works.plant_us)
    told = works.end_simulator(simulator, service)
    truth = works.truth
    for machine in works.machines:
        assert_true_but_for_gaps(told[machine], truth, outages)
        assert sum(c["quantity"] for c in told[machine].counts if c["across_gap"]) > 0
        assert truth.totals(machine)["parts"] == sum(c["parts"] for c in truth.of(machine, "cycle"))
    for row in service.api.rows("/oee", **{"from": moment(START_US)}):
        seen = sum(span.end_us - span.start_us for span in told[row["key"]].observed)
        assert row["coverage_pct"] == pytest.approx(100 * seen / (row["to_us"] - row["from_us"]), abs=0.01)
        assert row["coverage_pct"] < 100
