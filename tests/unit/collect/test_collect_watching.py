"""Alerts over a real database: raised near the limit, cleared by the change, one at a time."""

from __future__ import annotations

from pathlib import Path

from collect.line import SECOND, START, cycle, plant_of
from swarfline.alerts import Acknowledgement, Alert
from swarfline.collect import Pipeline
from swarfline.collect.watching import AT_ONCE, EVERY_US, Watching
from swarfline.store import Batch, Store

LEAD = {"alerts": {"tool_near_limit": {"lead_min": 10}}}


class Line:
    """A pipeline, the watching over it, and a clock at the newest reading."""

    def __init__(self, folder: Path, *machines: str, store: Store | None = None) -> None:
        self.now_us = START
        self.store = store or Store.open("sqlite:///test.db", folder / "plant.toml")
        plant = plant_of(folder, *machines, **LEAD)
        self.pipeline = Pipeline(plant, self.store)
        self.watching = Watching(plant, self.store, lambda: self.now_us)

    def cycle(self, machine: str, number: int, used: float) -> None:
        readings = cycle(machine, number, used)
        # the reorder window has passed
        self.now_us = readings[-1].source_us + 2 * SECOND
        batch = self.pipeline.take(readings, self.now_us)
        self.pipeline.commit(batch)
        self.watching.note(batch.facts)

    def over(self, machine: str) -> None:
        """The tool is past its limit, and that is told."""
        for number in range(3):
            self.cycle(machine, number, 101.0 + number)

    def look(self) -> Batch | None:
        changes = self.watching.look()
        if changes is not None:
            self.pipeline.commit(changes)
        return changes

    def standing(self, rule: str = "tool_near_limit") -> list[Alert]:
        return [alert for alert in self.store.queries.alerts(standing=True) if alert.rule == rule]


def test_an_alert_is_raised_once_within_the_lead_and_cleared_by_the_change(tmp_path):
    line = Line(tmp_path, "N1")
    number = 0
    while not line.standing():
        line.cycle("N1", number, 79.0 + number)
        line.look()
        number += 1
        assert number < 20
    # one use per cycle of 60 s and a lead of ten minutes; the cycle fed last is told with the next one
    assert 100 - (79 + number - 2) in (9, 10)
    (alert,) = line.standing()
    assert (alert.machine, alert.rule, alert.subject, alert.severity) == (
        "N1",
        "tool_near_limit",
        "1/7",
        "warning",
    )
    line.cycle("N1", number, 79.0 + number)
    line.look()
    assert [a.raised_us for a in line.standing()] == [alert.raised_us]
    line.cycle("N1", number + 1, 0.0)
    line.cycle("N1", number + 2, 1.0)
    line.look()
    assert line.standing() == []
    (cleared,) = line.store.queries.alerts()
    assert cleared.raised_us == alert.raised_us < cleared.cleared_us
    line.store.close()


def test_what_comes_back_within_minutes_is_the_same_alert_and_stays_acknowledged(tmp_path):
    line = Line(tmp_path, "N1")
    line.over("N1")
    line.look()
    (alert,) = line.standing()
    assert line.store.alerting().acknowledge(alert.number, Acknowledgement("Ana", line.now_us))
    for number, used in enumerate((0.0, 1.0, 2.0), 3):
        line.cycle("N1", number, used)
    line.look()
    assert line.standing() == []
    for number, used in enumerate((101.0, 102.0), 6):
        line.cycle("N1", number, used)
    line.look()
    (again,) = line.standing()
    assert (again.number, again.times, again.raised_us) == (alert.number, 2, alert.raised_us)
    assert again.acknowledged.who == "Ana"
    kinds = [event.kind for event in line.store.queries.alert_events(alert.number)]
    assert [k for k in kinds if k != "text_changed"] == ["raised", "acknowledged", "cleared", "raised_again"]
    line.store.close()


def test_nothing_is_looked_at_when_nothing_happened(tmp_path):
    line = Line(tmp_path, "N1")
    assert line.look() is None
    line.over("N1")
    assert line.look() is not None
    with line.store.engine.begin() as connection:
        connection.exec_driver_sql("ALTER TABLE alerts RENAME TO away")
    # a look would raise now
    assert line.look() is None
    with line.store.engine.begin() as connection:
        connection.exec_driver_sql("ALTER TABLE away RENAME TO alerts")
    line.store.close()


def test_time_alone_brings_a_look(tmp_path):
    line = Line(tmp_path, "N1")
    line.look()
    line.over("N1")
    later = Line(tmp_path, "N1", store=line.store)
    later.now_us = line.now_us
    later.look()
    assert [alert.severity for alert in later.standing()] == ["warning"]
    assert [alert.severity for alert in later.standing("tool_past_limit")] == ["urgent"]
    with line.store.engine.begin() as connection:
        connection.exec_driver_sql("DELETE FROM alerts")
    later.now_us += EVERY_US - 1
    assert later.look() is None
    later.now_us += 2
    assert later.look() is not None
    line.store.close()


def test_many_machines_take_several_looks_and_none_is_forgotten(tmp_path):
    names = [f"M{n:02}" for n in range(2 * AT_ONCE + 1)]
    line = Line(tmp_path, *names)
    for _ in range(3):
        line.look()
    for name in names:
        line.over(name)
    seen = []
    for _ in range(3):
        line.look()
        seen.append(len(line.standing()))
    assert seen == [AT_ONCE, 2 * AT_ONCE, 2 * AT_ONCE + 1]
    line.store.close()


def test_alerts_of_a_machine_that_left_the_plant_are_cleared(tmp_path):
    line = Line(tmp_path, "N1", "N2")
    line.over("N2")
    line.look()
    assert [a.machine for a in line.standing()] == ["N2"]
    Line(tmp_path, "N1", store=line.store).look()
    after = Line(tmp_path, "N1", store=line.store)
    after.look()
    assert after.standing() == []
    line.store.close()
