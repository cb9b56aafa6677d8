"""The rules of servers and of the plant: connections, clocks, codes, power, disk."""

import pytest

from swarfline.plant.alerts import ClockTable, ConnectionTable, DiskTable, PowerPeakTable
from swarfline.watch.rules import clock_offset, codes_unmapped, connection_lost, disk, power_peak
from swarfline.watch.rules.connection_lost import Link
from swarfline.watch.rules.power_peak import Quarters
from watch.seen import NOW, state

SETTINGS = ConnectionTable()


def links(servers: int, lost: int, machines: int = 1) -> list[Link]:
    return [Link(f"S{n}", n >= lost, "no answer", [f"M{n}-{m}" for m in range(machines)]) for n in range(servers)]


def raised(seen) -> list[str]:
    return [s.subject for s in seen if state(s) == "raised"]


def test_fifty_servers_lost_at_once_are_one_alert():
    seen = connection_lost.see(links(50, 50), SETTINGS, stands=False)
    assert raised(seen) == ["plant"]
    assert {s.machine for s in seen} == {""}
    assert seen[0].text == (
        "50 of 50 servers are not connected (S0, S1, S2, S3 and 46 more), so 50 machines are not seen; "
        "look at the network first"
    )


def test_fifty_machines_behind_one_server_are_one_alert():
    seen = connection_lost.see(links(1, 1, machines=50), SETTINGS, stands=False)
    assert raised(seen) == ["server/S0"]
    assert seen[1].text == "Server S0 is not connected; not seen: M0-0, M0-1, M0-2, M0-3 and 46 more"


@pytest.mark.parametrize(
    ("servers", "lost", "stands", "plant", "own"),
    [
        (10, 0, False, "cleared", 0),
        (10, 1, False, "cleared", 1),
        (10, 4, False, "cleared", 4),
        (10, 5, False, "raised", 0),
        # most are back, but not enough: no alert per server on the way
        (10, 4, True, "kept", 0),
        (10, 3, True, "kept", 0),
        (10, 2, True, "cleared", 2),
        (10, 0, True, "cleared", 0),
        # half of two is one server, and that is its own affair
        (2, 1, False, "cleared", 1),
        (2, 2, False, "raised", 0),
        (1, 1, False, "cleared", 1),
        (0, 0, False, "cleared", 0),
    ],
)
def test_many_lost_servers_are_the_plants_affair(servers, lost, stands, plant, own):
    whole, *each = connection_lost.see(links(servers, lost), SETTINGS, stands)
    assert state(whole) == plant
    assert len(raised(each)) == own
    assert [state(s) for s in each[lost:]] == ["cleared"] * (servers - lost)


def test_an_alert_of_one_server_is_kept_while_the_plant_has_its_own():
    _, *each = connection_lost.see(links(4, 4), SETTINGS, stands=False)
    assert {state(s) for s in each} == {"kept"}


@pytest.mark.parametrize(
    ("offset_s", "expected"),
    [(5, "raised"), (-5, "raised"), (4.9, "kept"), (-3, "kept"), (2.9, "cleared"), (0, "cleared"), (None, "kept")],
)
def test_a_clock_that_is_off(offset_s, expected):
    offset_us = None if offset_s is None else round(offset_s * 1e6)
    assert state(clock_offset.see("line", offset_us, ClockTable())) == expected


def test_what_it_says_of_a_clock():
    assert clock_offset.see("line", 7_200_000_000, ClockTable()).text == (
        "The clock of server line is 7200 s ahead of ours"
    )
    assert "30 s behind" in clock_offset.see("line", -30_000_000, ClockTable()).text


def test_codes_without_a_meaning():
    assert state(codes_unmapped.see("line", {})) == "cleared"
    found = codes_unmapped.see("line", {"N2/mode": "9", "N1/state": "x" * 900})
    assert state(found) == "raised"
    assert found.text == "Server line sends codes without a meaning in the plant file: N1/state, N2/mode"
    assert len(found.detail["codes"]["N1/state"]) <= 160
    # another code of the same signal is no other alert, and no other text
    assert codes_unmapped.see("line", {"N2/mode": "10", "N1/state": "y"}).text == found.text


def quarters(whole_kw, running_kw=None, coverage=1.0, cell=""):
    watts = [None if kw is None else kw * 1000 for kw in (whole_kw, running_kw)]
    return Quarters(cell, watts[0], coverage, watts[1], NOW)


@pytest.mark.parametrize(
    ("seen", "expected"),
    [
        (quarters(100.1), "raised"),
        (quarters(100), "kept"),
        (quarters(95), "kept"),
        (quarters(94.9), "cleared"),
        # the quarter that runs has taken more than its whole may
        (quarters(50, 100.1), "raised"),
        (quarters(50, 96), "kept"),
        # half seen, a quarter's power is a lower bound: it can break the limit, but prove nothing else
        (quarters(100.1, coverage=0.5), "raised"),
        (quarters(50, coverage=0.5), "kept"),
        (quarters(None), "kept"),
    ],
)
def test_a_peak_of_power(seen, expected):
    assert state(power_peak.see(seen, PowerPeakTable(limit_kw=100))) == expected


def test_power_without_a_limit_and_of_a_cell():
    assert state(power_peak.see(quarters(1e6), PowerPeakTable())) == "cleared"
    found = power_peak.see(quarters(120, cell="north"), PowerPeakTable(limit_kw=80))
    assert (found.machine, found.subject) == ("", "cell/north")
    assert found.text == "Cell north takes more power in a quarter of an hour than its limit of 80 kW"
    assert found.detail["demand_kw"] == 120


@pytest.mark.parametrize(("free_gb", "expected"), [(1.99, "raised"), (2, "kept"), (2.99, "kept"), (3, "cleared")])
def test_room_on_the_disk(free_gb, expected):
    assert state(disk.see(round(free_gb * 1e9), DiskTable())) == expected
