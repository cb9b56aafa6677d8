"""The rule tool_near_limit: when it holds, when it lets go, what it says."""

from dataclasses import dataclass

import pytest

from swarfline.alerts import URGENT, WARNING
from swarfline.watch.rules.tool_near_limit import NAME, see

MINUTE = 60_000_000
LEAD = 60 * MINUTE
NOW = 1_780_000_000_000_000


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
    (found,) = see([Tool(*args, **fields)], LEAD, NOW)
    return found


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
    (found,) = see([tool], LEAD, NOW)
    assert (found.active, found.clear) == (active, clear)


def test_past_the_limit_is_urgent():
    assert sighting(100).severity == URGENT
    assert sighting(99).severity == WARNING


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


def test_there_is_one_sighting_per_tool_near_or_not():
    found = see([Tool(5), Tool(95, pot_key="P8"), Tool(95, machine="N2")], LEAD, NOW)
    assert [(s.rule, s.machine, s.subject) for s in found] == [
        (NAME, "N1", "P7/7"),
        (NAME, "N1", "P8/7"),
        (NAME, "N2", "P7/7"),
    ]
