"""Every rule over a real database: what it looks at, its delay, exceptions, restarts, and no storms."""

from __future__ import annotations

import logging
import random
from dataclasses import replace

import pytest

from collect.line import SECOND, START
from collect.watched import HOUR, MINUTE, NOW, Watched
from swarfline.collect.watching import EVERY_US, SELDOM_US
from swarfline.entries import Entry, Judgement, Target, Undone
from swarfline.facts import (
    COMPLETE,
    FAULT,
    PRODUCING,
    UNOBSERVED,
    WAITING,
    Condition,
    Count,
    Cycle,
    Energy,
    ToolLife,
    ToolUse,
)

QUARTER = 15 * MINUTE
ROUND_S = SELDOM_US / SECOND
"""After so long everything has been looked at anew."""


@pytest.fixture
def watched(tmp_path):
    made = []

    def make(servers=None, **tables):
        made.append(Watched(tmp_path, servers, **tables))
        return made[-1]

    yield make
    for one in made:
        one.store.close()


def produced(until_us, machine="N1"):
    return Condition(machine, START, until_us, PRODUCING)


def test_fifty_servers_lost_at_once_are_one_alert_and_their_return_is_none(watched):
    names = [f"S{n}" for n in range(50)]
    works = watched({name: [f"M{name}"] for name in names})
    works.links(**dict.fromkeys(names, "connected"))
    assert works.look() == []
    # they are not found to be lost in the same second
    works.links(**dict.fromkeys(names[:20], "waiting"))
    assert works.look(5) == []
    works.links(**dict.fromkeys(names, "waiting"))
    assert works.look(5) == []
    assert works.look(55) == []
    assert works.look(10) == ["connection_lost plant"]
    (alert,) = works.alerts()
    assert (alert.machine, alert.subject, alert.severity) == ("", "plant", "urgent")
    # back one by one, slower than a server's own delay
    for back in range(10, 51, 10):
        works.links(**dict.fromkeys(names[:back], "connected"))
        works.look(50)
    assert works.standing() == []
    assert len(works.alerts()) == 1


def test_what_is_still_lost_when_the_plant_is_back_waits_anew_and_is_told(watched):
    names = ["S1", "S2", "S3", "S4"]
    works = watched({name: [f"M{name}"] for name in names})
    works.links(**dict.fromkeys(names, "waiting"))
    works.look()
    assert works.look(60) == ["connection_lost plant"]
    works.links(S1="connected", S2="connected", S3="connected")
    assert works.look(5) == []
    assert works.look(59) == []
    assert works.look(5) == ["connection_lost server/S4"]


def test_alerts_of_servers_and_of_the_plant_are_no_orphans_and_survive_a_restart(watched):
    works = watched(alerts={"disk": {"limit_gb": 1e9, "clear_gb": 2e9}})
    works.links(line={"state": "waiting", "clock_offset_us": 9 * SECOND, "unmapped": {"N1/state": "7"}})
    works.look()
    stand = ["clock_offset server/line", "codes_unmapped server/line", "connection_lost server/line", "disk plant"]
    assert works.look(60) == stand
    before = works.alerts()
    works.begin(alerts={"disk": {"limit_gb": 1e9, "clear_gb": 2e9}})
    # the waits begin anew, the alerts stand meanwhile
    assert works.look(1) == stand
    works.look(120)
    assert [a.raised_us for a in works.alerts()] == [a.raised_us for a in before]
    works.links(line={"state": "connected"})
    works.begin()
    assert works.look(10) == []


def test_a_server_that_left_the_plant_file_takes_its_alert_with_it(watched):
    works = watched({"line": ["N1"], "other": ["N2"]})
    works.links(line="connected", other="waiting")
    works.look()
    assert works.look(60) == ["connection_lost server/other"]
    works.servers = {"line": ["N1"]}
    works.begin()
    assert works.look(60) == []


def test_a_server_that_is_off_on_purpose_is_left_out(watched):
    off = {"exceptions": [{"servers": ["other"], "connection_lost": {"enabled": False}}]}
    works = watched({"line": ["N1"], "other": ["N2"], "third": ["N3"]}, alerts=off)
    works.links(line="waiting", other="waiting", third="connected")
    works.look()
    # two of three would be the plant's affair
    assert works.look(60) == ["connection_lost server/line"]


def test_a_machine_that_stands_is_told_once_over_restarts_and_cleared_when_it_produces(watched):
    works = watched()
    stop = Condition("N1", NOW - 14 * MINUTE, NOW, FAULT, "17", "Chuck", open=True)
    works.facts(produced(NOW - 14 * MINUTE), stop)
    works.tells("N1", FAULT, NOW - 14 * MINUTE)
    assert works.look() == []
    works.begin()
    works.facts(replace(stop, end_us=NOW + MINUTE))
    assert works.look(60) == ["machine_stopped_longer N1"]
    (alert,) = works.alerts()
    assert alert.text == "N1 has been in fault for more than 15 min: Chuck"
    works.begin()
    works.look(60)
    assert len(works.alerts()) == 1
    back_us = works.now_us
    works.tells("N1", PRODUCING, back_us)
    assert works.look(59) == ["machine_stopped_longer N1"]
    assert works.look(1) == []


def test_a_stop_in_unplanned_time_is_none(watched):
    works = watched(shifts=[{"name": "morning", "start": "06:00", "end": "12:00"}])
    works.facts(produced(NOW - 5 * HOUR), Condition("N1", NOW - 5 * HOUR, NOW, WAITING, open=True))
    works.tells("N1", WAITING, NOW - 5 * HOUR)
    assert works.look() == []


def test_a_break_in_a_stop_does_not_count(watched):
    shift = {"name": "day", "start": "06:00", "end": "22:00", "breaks": [{"start": "19:30", "end": "19:50"}]}
    works = watched(shifts=[shift])
    # NOW is 20:00; of the 45 minutes twenty were a break
    works.facts(produced(NOW - 45 * MINUTE), Condition("N1", NOW - 45 * MINUTE, NOW, WAITING, open=True))
    works.tells("N1", WAITING, NOW - 45 * MINUTE)
    assert works.look() == []
    works.facts(Condition("N1", NOW - 45 * MINUTE, NOW + 5 * MINUTE, WAITING, open=True))
    assert works.look(300) == ["machine_stopped_longer N1"]


def test_a_machine_out_of_sight_behind_a_server_that_is_connected(watched):
    works = watched()
    works.links(line={"state": "connected", "since_us": NOW})
    works.tells("N1", UNOBSERVED, NOW - HOUR)
    # the server has just come back, and with it soon the machine
    assert works.look() == []
    assert works.look(14 * 60) == []
    assert works.look(60) == ["machine_out_of_sight N1"]
    works.tells("N1", WAITING, works.now_us)
    assert works.look(60) == []


def test_a_machine_that_was_never_heard_of_is_out_of_sight_in_the_end(watched):
    works = watched()
    works.links(line="connected")
    works.look()
    assert works.look(14 * 60) == []
    assert works.look(61) == ["machine_out_of_sight N1"]


def life(used, start_us=START, open_=True, reason="", end_us=NOW, tool="7"):
    return ToolLife(
        "N1", "1", start_us, end_us, tool, "1", "", "count", used, 100.0, 90.0, open=open_, reason=reason
    )


def test_a_life_that_was_reset_without_a_stop_is_asked_about(watched):
    reset_us = NOW - 10 * MINUTE
    works = watched()
    works.facts(produced(NOW + HOUR), life(20, START, False, "reset", reset_us), life(2, reset_us))
    works.look()
    assert works.look(300) == ["tool_life_reset N1"]
    # the facts tell it after a restart too, and it goes by itself
    works.begin()
    assert works.look(60) == ["tool_life_reset N1"]
    assert works.look(8 * 3600) == []


@pytest.mark.parametrize("seen", [WAITING, UNOBSERVED, None])
def test_a_stop_near_the_reset_or_a_gap_may_have_been_the_change(watched, seen):
    reset_us = NOW - 10 * MINUTE
    works = watched()
    works.facts(
        Condition("N1", START, reset_us - 3 * MINUTE, PRODUCING),
        *([Condition("N1", reset_us - 3 * MINUTE, reset_us - MINUTE, seen)] if seen else []),
        Condition("N1", reset_us - MINUTE, NOW, PRODUCING, open=True),
        life(20, START, False, "reset", reset_us),
        life(2, reset_us),
    )
    works.look()
    assert works.look(300) == []


def test_a_stop_after_the_reset_may_have_been_the_change_too(watched):
    reset_us = NOW - 10 * MINUTE
    works = watched()
    works.facts(
        Condition("N1", START, NOW - 6 * MINUTE, PRODUCING),
        Condition("N1", NOW - 6 * MINUTE, NOW - 5 * MINUTE, WAITING),
        Condition("N1", NOW - 5 * MINUTE, NOW + HOUR, PRODUCING, open=True),
        life(20, START, False, "reset", reset_us),
        life(2, reset_us),
    )
    works.look()
    assert works.look(300) == []


def test_an_exception_holds_for_its_tool_on_its_machine_alone(watched):
    exceptions = [{"machines": ["N1"], "tools": ["7"], "tool_near_limit": {"share_pct": 50, "severity": "urgent"}}]
    works = watched({"line": ["N1", "N2"]}, alerts={"exceptions": exceptions})
    others = [ToolLife("N1", "2", START, NOW, "8", used=60, limit=100.0, open=True)]
    others.append(ToolLife("N2", "1", START, NOW, "7", used=60, limit=100.0, open=True))
    works.facts(life(60), *others)
    assert works.look() == ["tool_near_limit N1"]
    (alert,) = works.alerts()
    assert (alert.subject, alert.severity) == ("1/7", "urgent")


def test_a_rule_that_is_switched_off_clears_what_it_had_raised(watched):
    works = watched()
    works.facts(life(95))
    assert works.look() == ["tool_near_limit N1"]
    works.begin(alerts={"tool_near_limit": {"enabled": False}})
    assert works.look(60) == []


def test_the_last_tool_that_leaves_takes_its_alert_with_it(watched):
    works = watched()
    works.facts(life(95))
    assert works.look() == ["tool_near_limit N1"]
    works.facts(life(95, open_=False, reason="replaced"))
    assert works.look(60) == []


def cycles(seconds, program="O1", start_us=START, **more):
    found, at_us = [], start_us
    for n, length_s in enumerate(seconds):
        end_us = at_us + round(length_s * SECOND)
        extra = {key: value[n] if isinstance(value, list) else value for key, value in more.items()}
        found.append(Cycle("N1", at_us, end_us, COMPLETE, program, "PH-12", parts=1, **extra))
        at_us = end_us + 10 * SECOND
    return found


def around(level, count, seed=1):
    chance = random.Random(seed)
    return [chance.gauss(level, 0.01 * level) for _ in range(count)]


def test_cycles_that_have_become_longer_are_told_and_cleared_when_they_are_as_before(watched):
    works = watched()
    works.facts(*cycles(around(60, 80) + around(66, 30, 2)))
    assert works.look() == ["cycle_time_drifted N1"]
    (alert,) = works.alerts()
    assert alert.text.startswith("Cycles of program O1 on N1 have become longer by ")
    assert alert.detail["before_s"] == pytest.approx(60, abs=0.5)
    assert alert.detail["now_s"] == pytest.approx(66, abs=0.5)
    works.facts(*cycles(around(60, 80) + around(66, 30, 2) + around(60, 40, 3)))
    assert works.look(ROUND_S) == []


def test_cycles_that_only_vary_are_no_drift(watched):
    works = watched()
    works.facts(*cycles(around(60, 150)))
    assert works.look() == []


def counted(total, scrap, start_us=NOW - HOUR):
    made = [Count("N1", start_us + n * SECOND, "total", 1, "PH-12") for n in range(total)]
    return [*made, *(Count("N1", start_us + n * SECOND, "scrap", 1, "PH-12") for n in range(total - scrap, total))]


def test_scrap_among_the_newest_parts(watched):
    works = watched()
    works.facts(*counted(300, 9))
    assert works.look() == []
    works.facts(*counted(1, 1, NOW))
    assert works.look(ROUND_S) == ["scrap_rate N1"]
    (alert,) = works.alerts()
    assert alert.text == "10 of 100 parts made last on N1 are scrap: 10 %"
    works.facts(*counted(100, 0, NOW + MINUTE))
    assert works.look(ROUND_S) == []


def test_scrap_of_the_shift_alone(watched):
    shifts = [{"name": "late", "start": "19:30", "end": "23:00"}]
    works = watched(shifts=shifts, alerts={"scrap_rate": {"over": "shift"}})
    # the parts before the shift do not count, though they would bring it below the limit
    works.facts(*counted(500, 0, NOW - 2 * HOUR), *counted(30, 6, NOW - 20 * MINUTE))
    assert works.look() == ["scrap_rate N1"]


def test_parts_judged_later_count_and_what_lies_before_the_shift_does_not(watched):
    shifts = [{"name": "late", "start": "19:30", "end": "23:00"}]
    works = watched(shifts=shifts, alerts={"scrap_rate": {"over": "shift"}})
    works.facts(*counted(100, 0, NOW - 40 * MINUTE), *counted(40, 4, NOW - 20 * MINUTE))
    assert works.look() == []
    # the entry reaches into the shift: the 100 parts before it are read for it, and yet do not thin out the scrap
    said = Judgement("PH-12", "scrap", 7)
    with works.store.entering() as door:
        door.add(Entry("N1", NOW - HOUR, NOW, said, "Ana", NOW))
    assert works.look(SELDOM_US / SECOND) == ["scrap_rate N1"]
    (alert,) = works.alerts()
    assert alert.detail["parts"] == 40
    # two of the seven fall to the 40 parts: 7 × 36 ÷ 136 = 1.9
    assert alert.detail["scrap"] == 6


def use(load):
    return (ToolUse("7", 1, 20 * SECOND, 15 * SECOND, load, load + 5, 1.0),)


def test_a_load_that_rises(watched):
    works = watched()
    chance = random.Random(4)
    first = [30 + chance.gauss(0, 0.3) for _ in range(90)]
    worn = [30 * (1 + n / 90) + chance.gauss(0, 0.3) for n in range(90)]
    uses = [
        [(ToolUse("7", 1, 20 * SECOND, 15 * SECOND, load, load + 5, 1.0),) for load in run]
        for run in (first, worn)
    ]
    begun = cycles([50.0] * 90, start_us=NOW - 4 * HOUR, tools=uses[0])
    later = cycles([50.0] * 90, start_us=NOW - 2 * HOUR, tools=uses[1])
    works.facts(life(90, NOW - 4 * HOUR, False, "replaced", NOW - 2 * HOUR), *begun)
    works.facts(life(89, NOW - 2 * HOUR), *later)
    assert works.look() == ["tool_load_rising N1"]
    works.facts(life(89, NOW - 2 * HOUR, False, "replaced", NOW), life(0, NOW, end_us=NOW + MINUTE))
    assert works.look(ROUND_S) == []


def energy(quarter, kw, machine="N1"):
    start = NOW + quarter * QUARTER
    return Energy(machine, start, start + QUARTER, PRODUCING, kw * 1000 * 900, "power")


def test_a_peak_of_power_of_the_plant_and_of_a_cell(watched):
    exceptions = [{"cells": ["north"], "power_peak": {"limit_kw": 50}}]
    works = watched({"line": ["N1", "N2"]})
    raw = {"cells": [{"id": "north"}], "alerts": {"power_peak": {"limit_kw": 100}, "exceptions": exceptions}}
    works.begin(**raw)
    works.facts(energy(-1, 60), energy(-1, 60, "N2"))
    assert works.look() == ["power_peak plant"]
    works.facts(energy(0, 40), energy(0, 40, "N2"))
    assert works.look(QUARTER / SECOND) == []


def test_a_quarter_that_cannot_be_kept_any_more_is_told_before_its_end(watched):
    works = watched(alerts={"power_peak": {"limit_kw": 100}})
    # 101 kW · 15 min taken in ten minutes
    works.facts(energy(-1, 50), Energy("N1", NOW, NOW + 10 * MINUTE, PRODUCING, 101_000 * 900, "power"))
    assert works.look(600) == ["power_peak plant"]


def test_a_lot_that_misses_the_end_of_the_shift(watched):
    shifts = [{"name": "late", "start": "14:00", "end": "22:00"}]
    works = watched(shifts=shifts, alerts={"lot_will_not_finish": {"by_shift_end": True}})
    # NOW is 20:00; a part a minute, so the end of the shift is 120 parts away
    works.facts(produced(NOW), *cycles([50.0] * 180, start_us=NOW - 3 * HOUR, lot="L-8"), *lot_of(180))
    works.tells("N1", PRODUCING, START, values={"lot": "L-8", "part": "PH-12", "lot_size": 320})
    # the twenty minutes too many are made on the next day, but they are twenty all the same
    assert works.look() == ["lot_will_not_finish N1"]
    works.tells("N1", PRODUCING, START, values={"lot": "L-8", "part": "PH-12", "lot_size": 250})
    assert works.look(60) == []


def test_a_target_that_will_be_missed(watched):
    works = watched()
    # since NOW − 3 h a part a minute: of 200 wanted by NOW + 10 min, 180 are made
    works.facts(produced(NOW), *cycles([50.0] * 180, start_us=NOW - 3 * HOUR), *lot_of(180))
    works.tells("N1", PRODUCING, START)
    assert works.look() == []
    with works.store.entering() as door:
        told = door.add(Entry("N1", NOW - 3 * HOUR, NOW + 10 * MINUTE, Target("PH-12", 200), "Ana", NOW))
    assert works.look(60) == ["lot_will_not_finish N1"]
    (alert,) = works.alerts()
    assert alert.text == "Target of PH-12 on N1 will not be reached by the end of its time: 20 parts left"
    # one that was told later takes its place
    with works.store.entering() as door:
        later = door.add(replace(told, number=0, end_us=NOW + 2 * HOUR, entered_us=NOW + 1))
    assert works.look(60) == []
    with works.store.entering() as door:
        door.undo(later, Undone("Ana", NOW + 2, ""))
    assert works.look(60) == ["lot_will_not_finish N1"]
    # its time is over
    assert works.look(600) == []


def test_a_target_counts_its_own_part_only(watched):
    works = watched()
    works.facts(
        produced(NOW), *cycles([50.0] * 180, start_us=NOW - 3 * HOUR), *lot_of(90), *lot_of(180, "VC-30")[90:]
    )
    works.tells("N1", PRODUCING, START)
    with works.store.entering() as door:
        door.add(Entry("N1", NOW - 3 * HOUR, NOW + 10 * MINUTE, Target("PH-12", 185), "Ana", NOW))
    assert works.look() == ["lot_will_not_finish N1"]
    (alert,) = works.alerts()
    assert alert.text.endswith("95 parts left"), (
        "90 of 185 are PH-12; the other 90 parts are no part of the target"
    )


def lot_of(parts, part="PH-12"):
    return [Count("N1", NOW - n * MINUTE - SECOND, "total", 1, part, "L-8") for n in range(parts)]


def test_a_rule_that_fails_keeps_no_other_from_seeing_and_changes_nothing(watched, caplog):
    works = watched()
    works.facts(*counted(100, 20), life(95))
    assert works.look() == ["scrap_rate N1", "tool_near_limit N1"]
    with works.store.engine.begin() as connection:
        connection.exec_driver_sql("ALTER TABLE counts RENAME TO away")
    works.facts(life(95, open_=False, reason="replaced"))
    with caplog.at_level(logging.ERROR, "swarfline.watch"):
        assert works.look(ROUND_S) == ["scrap_rate N1"]
        assert works.look(ROUND_S) == ["scrap_rate N1"]
    (record,) = caplog.records
    assert record.getMessage() == "alert rule scrap_rate fails at machine N1; its alerts stay as they are"
    with works.store.engine.begin() as connection:
        connection.exec_driver_sql("ALTER TABLE away RENAME TO counts")
    works.facts(*counted(200, 0, NOW))
    assert works.look(ROUND_S) == []


def test_a_delay_is_waited_for(watched):
    works = watched(alerts={"tool_near_limit": {"delay_s": 120}})
    works.facts(life(95))
    assert works.look() == []
    assert works.look(EVERY_US / SECOND) == []
    assert works.look(EVERY_US / SECOND) == ["tool_near_limit N1"]


def test_in_a_calm_plant_nothing_is_raised(watched):
    works = watched({"line": ["N1", "N2"]})
    works.links(line="connected")
    for _ in range(5):
        works.facts(produced(works.now_us), life(40), *counted(60, 1), energy(-1, 30), *cycles(around(60, 60)))
        works.tells("N1", PRODUCING, START)
        works.tells("N2", PRODUCING, START)
        assert works.look(60) == []
