"""The rules of tools but tool_near_limit: past the limit, life reset, load rising."""

from dataclasses import dataclass

import pytest

from swarfline.plant.alerts import LifeResetTable, LoadRisingTable, PastLimitTable
from swarfline.watch.rules import tool_life_reset, tool_load_rising, tool_past_limit
from swarfline.watch.rules.tool_life_reset import Reset
from swarfline.watch.rules.tool_load_rising import ToolLoad
from watch.seen import HOUR, MINUTE, NOW, state


@dataclass(frozen=True)
class Tool:
    """A forecast as tool_past_limit needs it."""

    used: float
    limit: float | None = 100.0
    consumption_per_cycle: float | None = 2.0
    locked: bool = False
    machine: str = "N1"
    pot_key: str = "P7"
    tool: str = "7"
    name: str = ""
    pot: str = ""
    basis: str = "count"


@pytest.mark.parametrize(
    ("tool", "over_cycles", "expected"),
    [
        (Tool(99), 1, "cleared"),
        (Tool(100), 1, "cleared"),
        (Tool(100.1), 1, "kept"),
        (Tool(101.9), 1, "kept"),
        (Tool(102), 1, "raised"),
        (Tool(105.9), 3, "kept"),
        (Tool(106), 3, "raised"),
        (Tool(100), 0, "cleared"),
        (Tool(100.1), 0, "raised"),
        (Tool(100.1, consumption_per_cycle=None), 1, "raised"),
        (Tool(500, limit=None), 1, "cleared"),
        (Tool(500, locked=True), 1, "cleared"),
    ],
)
def test_a_tool_past_its_limit(tool, over_cycles, expected):
    found = tool_past_limit.see(tool, PastLimitTable(over_cycles=over_cycles))
    assert state(found) == expected
    assert found.severity == "urgent"


def test_what_it_says_of_a_tool_past_its_limit():
    found = tool_past_limit.see(Tool(103, name="reamer 8H7"), PastLimitTable())
    assert found.text == "Tool 7 (reamer 8H7) in pot P7 on N1 is used past its limit: 103 of 100 used"
    assert (found.machine, found.subject) == ("N1", "P7/7")


def reset(used=30.0, limit=100.0, ago_us=10 * MINUTE, still_us=20_000_000):
    return Reset("N1", "P7", "7", "", "", "count", used, limit, NOW - ago_us, still_us)


@pytest.mark.parametrize(
    ("seen", "expected"),
    [
        (reset(), "raised"),
        # late enough to be an ordinary change
        (reset(used=50), "cleared"),
        (reset(used=49.9), "raised"),
        (reset(limit=None), "cleared"),
        # a stop of a minute may have been the change
        (reset(still_us=MINUTE), "cleared"),
        (reset(still_us=MINUTE - 1), "raised"),
        (reset(still_us=None), "cleared"),
        # asked for eight hours
        (reset(ago_us=8 * HOUR), "cleared"),
        (reset(ago_us=8 * HOUR - 1), "raised"),
    ],
)
def test_a_life_that_began_anew(seen, expected):
    assert state(tool_life_reset.see(seen, LifeResetTable(), NOW)) == expected


def test_what_it_asks_of_a_life_that_began_anew():
    found = tool_life_reset.see(reset(), LifeResetTable(), NOW)
    assert found.text == (
        "Tool 7 in pot P7 on N1: its life began anew after 30, 30 % of its life, without a stop; "
        "was the tool changed?"
    )
    assert found.detail["reset_at"] == "2026-05-28T20:16:40Z"


def load(rising=True, rise=0.12, program="O1"):
    return ToolLoad("N1", "P7", "7", "", "", program, rising, rise, 56.0, 50.0)


@pytest.mark.parametrize(
    ("seen", "settings", "expected"),
    [
        (load(), {}, "raised"),
        (load(rise=0.1), {}, "raised"),
        (load(rise=0.099), {}, "kept"),
        (load(rise=0.05), {}, "kept"),
        (load(rise=0.049), {}, "cleared"),
        # a level that does not rise is no rise, however high
        (load(rising=False), {}, "kept"),
        (load(rising=False, rise=0.0), {}, "cleared"),
        # a new life tells nothing yet: the alert of the one before is over
        (load(rising=None), {}, "cleared"),
        (load(rise=0.3), {"rise_pct": 40}, "kept"),
        (load(rise=0.4), {"rise_pct": 40}, "raised"),
    ],
)
def test_a_load_that_rises(seen, settings, expected):
    assert state(tool_load_rising.see(seen, LoadRisingTable(**settings))) == expected


def test_of_several_programs_the_one_that_says_most_is_told():
    steady, rising, most = load(False, 0.5, "A"), load(True, 0.12, "B"), load(True, 0.2, "C")
    unknown = load(None, None, "D")
    assert tool_load_rising.worst([unknown, steady, rising, most]) == most
    assert tool_load_rising.worst([unknown, steady]) == steady
    text = tool_load_rising.see(most, LoadRisingTable()).text
    assert text == (
        "Tool 7 in pot P7 on N1: spindle load in program C lies by 20 % above what is usual "
        "at this share of its life"
    )
