"""The service is told to stop (SIGTERM, SIGINT) while it works: it ends in order and keeps what had arrived."""

from __future__ import annotations

import signal
import sqlite3

import pytest

from .outages import Watch, assert_true_but_for_gaps

pytestmark = pytest.mark.system

HELD_UP_S = 2.0


def test_told_to_stop_it_stores_what_had_arrived_and_goes_on_later(works, pause):
    simulator = works.start_simulator()
    simulator.ready()
    service = works.start_service()
    service.connected()
    outages = []

    # the database is busy, so that readings are waiting when the signal comes
    works.every_machine_made(1, works.plant_us)
    watch = Watch(works, service.api.now())
    database = sqlite3.connect(works.folder / "swarfline.db", isolation_level=None)
    database.execute("BEGIN IMMEDIATE")
    busy_us = works.plant_us
    pause(HELD_UP_S)
    stop_us = works.plant_us
    service.send(signal.SIGTERM)
    pause(0.2)
    database.execute("ROLLBACK")
    database.close()
    service = _restart(works, service, watch, outages)

    works.every_machine_made(1, works.plant_us)
    watch = Watch(works, service.api.now())
    service.send(signal.SIGINT)
    service = _restart(works, service, watch, outages)

    works.every_machine_made(1, works.plant_us)
    told = works.end_simulator(simulator, service)
    for machine in works.machines:
        assert_true_but_for_gaps(told[machine], works.truth, outages)
        # had only what was stored before been kept, the gap would begin when the database became busy
        assert told[machine].gaps[0]["start_us"] > (busy_us + stop_us) / 2
    assert service.end(signal.SIGTERM) == 0


def _restart(works, service, watch, outages):
    assert service.wait() == 0
    watch.lost()
    assert "Traceback" not in service.text
    assert "ERROR" not in service.text
    watch.returning()
    again = works.start_service()
    again.connected()
    outages.append(watch.back())
    return again
