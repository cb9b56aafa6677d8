"""The rule tool_near_limit: when it holds, when it lets go, what it says."""

from dataclasses import dataclass

import pytest

from swarfline.plant.alerts import NearLimitTable
from swarfline.watch.rules.tool_near_limit import NAME, see
from watch.seen import MINUTE, NOW, state

LEAD = 60 * MINUTE
SETTINGS = NearLimitTable()


@dataclass(frozen=True)
class Tool:
    """A forecast as the rule needs it."""

    used: float
    limit: float | None = 100.0
    warning_level: float | None = 90.0
    limit_in_us: int | None = None
    cycles_left: int | None = None
    consumption_per_cycle: float | None = 1.0
    machine: str = "N1"
    pot_key: str = "P7"
    tool: str = "7"
    name: str = "end mill 12"
    pot: str = "7"
    basis: str = "count"

    @property
    def limit_at_us(self):
        return None if self.limit_in_us is None else NOW + self.limit_in_us


def sighting(*args, **fields):
    return see(Tool(*args, **fields), SETTINGS, NOW)


@pytest.mark.parametrize(
    ("tool", "active", "clear"),
    [
        (Tool(50), False, True),
        (Tool(85.4), False, True),
        (Tool(85.5), False, False),
        (Tool(89.9), False, False),
        (Tool(90), True, False),
        (Tool(100), True, False),
        (Tool(150), True, False),
        (Tool(50, limit_in_us=LEAD), True, False),
        (Tool(50, limit_in_us=LEAD + 1), False, False),
        (Tool(50, limit_in_us=LEAD * 6 // 5), False, False),
        (Tool(50, limit_in_us=LEAD * 6 // 5 + 1), False, True),
        (Tool(94.9, warning_level=None), False, True),
        (Tool(95, warning_level=None), False, False),
        (Tool(100, warning_level=None), True, False),
        (Tool(90, limit=None), True, False),
        (Tool(50, limit=None, warning_level=None), False, True),
        (Tool(50, consumption_per_cycle=None), False, False),
        (Tool(44.9, consumption_per_cycle=None), False, True),
    ],
)
def test_it_holds_and_lets_go_at(tool, active, clear):
    found = see(tool, SETTINGS, NOW)
    assert (found.active, found.clear) == (active, clear)


@pytest.mark.parametrize(
    ("settings", "tool", "expected"),
    [
        # the control's level does not count, the limit still does
        ({"control_level": False}, Tool(95), "kept"),
        ({"control_level": False}, Tool(94.9), "cleared"),
        ({"control_level": False}, Tool(100), "raised"),
        # a share of the limit
        ({"share_pct": 80}, Tool(80), "raised"),
        ({"share_pct": 80}, Tool(79.9), "kept"),
        ({"share_pct": 80}, Tool(76), "kept"),
        ({"share_pct": 80}, Tool(75.9), "cleared"),
        ({"share_pct": 80}, Tool(75.9, limit=None), "cleared"),
        ({"clear_pct": 50}, Tool(45), "kept"),
        ({"clear_pct": 50}, Tool(44.9), "cleared"),
        # so many cycles
        ({"cycles": 10}, Tool(50, cycles_left=10), "raised"),
        ({"cycles": 10}, Tool(50, cycles_left=11), "kept"),
        ({"cycles": 10}, Tool(50, cycles_left=12), "kept"),
        ({"cycles": 10}, Tool(50, cycles_left=13), "cleared"),
        ({"cycles": 10}, Tool(50, cycles_left=None), "cleared"),
        # no lead time
        ({"lead_min": None}, Tool(50, limit_in_us=MINUTE), "cleared"),
        ({"lead_min": 1}, Tool(50, limit_in_us=MINUTE), "raised"),
        ({"lead_min": 1, "clear_factor": 3}, Tool(50, limit_in_us=3 * MINUTE), "kept"),
        ({"lead_min": 1, "clear_factor": 3}, Tool(50, limit_in_us=3 * MINUTE + 1), "cleared"),
    ],
)
def test_each_way_of_being_near_has_its_limit_and_its_level_of_return(settings, tool, expected):
    assert state(see(tool, NearLimitTable(**settings), NOW)) == expected


@pytest.mark.parametrize(
    ("left", "lot_cycles", "expected"),
    # a tool that does as many cycles as the lot needs lasts; 1.2 times as many are safe
    [
        (9, 10, "raised"),
        (10, 10, "kept"),
        (11, 10, "kept"),
        (12, 10, "cleared"),
        (9, None, "cleared"),
        (0, 0, "cleared"),
    ],
)
def test_before_the_lot_is_done(left, lot_cycles, expected):
    tool = Tool(50, cycles_left=left)
    assert state(see(tool, NearLimitTable(before_lot_end=True), NOW, lot_cycles)) == expected
    assert state(see(tool, SETTINGS, NOW, lot_cycles)) == "cleared"


@pytest.mark.parametrize(
    ("limit_in_min", "expected"), [(300, "raised"), (301, "kept"), (360, "kept"), (361, "cleared")]
)
def test_before_the_shift_ends(limit_in_min, expected):
    tool = Tool(50, limit_in_us=limit_in_min * MINUTE, cycles_left=9)
    settings = NearLimitTable(before_shift_end=True)
    end_us = NOW + 300 * MINUTE
    found = see(tool, settings, NOW, None, end_us)
    assert state(found) == expected
    assert ("due before the shift ends" in found.text) == (expected == "raised")
    assert state(see(tool, settings, NOW, None, None)) == "cleared"


def test_the_detail_tells_why():
    settings = NearLimitTable(share_pct=80, cycles=10)
    found = see(Tool(92, cycles_left=8, limit_in_us=LEAD), settings, NOW)
    assert found.detail["because_of"] == ["share", "warning level", "lead time", "cycles"]


def test_it_speaks_of_cycles_left():
    found = sighting(93, cycles_left=7, limit_in_us=70 * MINUTE)
    assert found.text == "Tool 7 (end mill 12) in pot 7 on N1: 93 of 100 used; about 7 cycles left"
    assert "about 1 cycle left" in sighting(99, cycles_left=1).text
    assert "past its limit" in sighting(101, cycles_left=0).text
    assert "cycles left not known" in sighting(93, consumption_per_cycle=None).text
    assert "not used by what is made now" in sighting(93, consumption_per_cycle=0.0).text


def test_it_speaks_the_unit_of_the_life():
    assert "on N1: 40 min of 1 h 00 min used" in sighting(2412.5, 3600.0, basis="time").text
    assert "93 m used" in sighting(93, None, basis="distance").text
    assert ": 93 used;" in sighting(93, None).text


def test_a_tool_without_number_name_and_pot_is_still_named():
    text = sighting(93, tool="", name="", pot="").text
    assert text.startswith("Tool without a number in pot P7 on N1: ")


def test_the_detail_gives_the_time_in_utc():
    found = sighting(93, cycles_left=7, limit_in_us=70 * MINUTE)
    assert found.detail["limit_at"] == "2026-05-28T21:36:40Z"
    assert found.detail["cycles_left"] == 7
    assert sighting(93).detail["limit_at"] is None


def test_it_is_about_the_tool_in_its_pot():
    found = see(Tool(5, pot_key="P8", machine="N2"), SETTINGS, NOW)
    assert (found.rule, found.machine, found.subject) == (NAME, "N2", "P8/7")


def test_names_from_outside_are_cut_and_stay_on_one_line():
    text = sighting(93, name="a\nb\x00" + "c" * 500).text
    assert text.startswith("Tool 7 (a b c")
    assert len(text) < 300
    assert "\n" not in text
