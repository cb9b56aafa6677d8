"""Tool lives, counting up and down, and what the tools use up in a cycle."""

import pytest

from swarfline.facts import Cycle, ToolLife
from swarfline.interpret.pot import tool_name

from .told import Told

UP = "tools[3].number=12 tools[3].limit=100 tools[3].used={}"
DOWN = "tools[3].number=12 tools[3].limit=100 tools[3].remaining={}"


def up(used):
    return UP.format(used)


def down(remaining):
    return DOWN.format(remaining)


NAMES = [(None, ""), (0, ""), ("0", ""), ("", ""), (7, "7"), (7.0, "7"), ("T7", "T7"), (True, "")]


@pytest.mark.parametrize(("value", "name"), NAMES)
def test_tool_name(value, name):
    assert tool_name(value) == name


def test_a_life_that_counts_up_ends_when_used_falls():
    told = Told(f"0 {up(40)}\n10 tools[3].used=99\n20 tools[3].used=0\n30 tools[3].used=1")
    assert told.lives == [(0, 20, "12", 99, "reset"), (20, 30, "12", 1, "open")]
    assert [f.whole for f in told.of(ToolLife)] == [False, True]


def test_a_life_that_counts_down_ends_when_remaining_rises():
    told = Told(f"0 {down(60)}\n10 tools[3].remaining=1\n20 tools[3].remaining=100\n30 tools[3].remaining=99")
    assert told.lives == [(0, 20, "12", 99, "reset"), (20, 30, "12", 1, "open")]
    assert {f.limit for f in told.of(ToolLife)} == {100}


def test_a_life_that_began_by_a_change_is_told_once_it_has_settled():
    story = f"0 {up(40)}\n20 tools[3].used=0\n{{}} alive"
    assert Told(story.format(22), end=False).lives == [(0, 20, "12", 40, "reset")]
    assert Told(story.format(23.1), end=False).lives == [(0, 20, "12", 40, "reset"), (20, 20, "12", 0, "open")]


def test_another_tool_in_the_pot_ends_a_life():
    told = Told(
        f"0 {up(40)} tools[3].name=Reamer\n"
        "20 tools[3].number=13 tools[3].name=Drill tools[3].used=45\n30 tools[3].used=46"
    )
    assert told.lives == [(0, 20, "12", 40, "replaced"), (20, 30, "13", 46, "open")]
    assert [f.name for f in told.of(ToolLife)] == ["Reamer", "Drill"]


def test_a_change_written_field_by_field_is_one_change():
    told = Told(f"""
        0    {up(97)}
        20   tools[3].number=13
        20.1 tools[3].used=0
        20.2 tools[3].limit=250
        90   tools[3].used=1
    """)
    assert told.lives == [(0, 20, "12", 97, "replaced"), (20, 90, "13", 1, "open")]
    assert told.limit_changes == []
    assert told.of(ToolLife)[-1].limit == 250


def test_an_emptied_pot_keeps_its_life_until_another_tool_sits_there():
    same = Told(
        f"0 {up(40)}\n20 tools[3].number=0 tools[3].used=0\n"
        "90 tools[3].number=12 tools[3].used=41\n99 tools[3].used=42"
    )
    assert same.lives == [(0, 99, "12", 42, "open")]
    other = Told(
        f"0 {up(40)}\n20 tools[3].number=0 tools[3].used=0\n90 tools[3].number=13 tools[3].used=0\n99 alive"
    )
    assert other.lives == [(0, 90, "12", 40, "replaced"), (90, 90, "13", 0, "open")]


def test_a_number_told_later_names_the_tool():
    told = Told("0 tools[3].used=4 tools[3].limit=9\n5 tools[3].number=12\n8 tools[3].used=5")
    assert told.lives == [(0, 8, "12", 5, "open")]


def test_without_a_used_value_there_is_no_life():
    assert Told("0 tools[3].number=12 tools[3].remaining=5\n9 tools[3].remaining=4").lives == []


def test_a_bad_value_changes_nothing():
    told = Told(f"0 {up(40)}\n10 tools[3].used=bad\n20 tools[3].used=41")
    assert told.lives == [(0, 20, "12", 41, "open")]


LIMITS = [
    ("count up, raised", up(40), "tools[3].limit=150", 40, 150),
    ("count up, lowered below used", up(40), "tools[3].limit=30", 40, 30),
    ("count down, remaining moves along", down(60), "tools[3].limit=150 tools[3].remaining=110", 40, 150),
    ("count down, lowered, remaining moves along", down(60), "tools[3].limit=80 tools[3].remaining=40", 40, 80),
    ("count down, lowered, remaining stays", down(60), "tools[3].limit=80", 20, 80),
]


@pytest.mark.parametrize(
    ("before", "change", "used", "limit"), [row[1:] for row in LIMITS], ids=[row[0] for row in LIMITS]
)
def test_a_limit_edited_is_a_limit_change_and_no_life_end(before, change, used, limit):
    told = Told(f"0 {before}\n50 {change}\n60 alive")
    assert told.lives == [(0, 50, "12", used, "open")]
    assert told.limit_changes == [(50, "limit", 100, limit)]


def test_remaining_may_follow_its_limit_later():
    told = Told(f"0 {down(60)}\n50 tools[3].limit=150\n50.3 tools[3].remaining=110\n70 tools[3].remaining=109")
    assert told.lives == [(0, 70, "12", 41, "open")]


def test_remaining_that_rises_by_something_else_ends_the_life():
    told = Told(f"0 {down(60)}\n50 tools[3].limit=150\n90 tools[3].remaining=150\n99 alive")
    assert told.lives == [(0, 90, "12", 90, "reset"), (90, 90, "12", 0, "open")]


def test_a_new_tool_with_a_new_limit_in_one_instant_ends_the_life():
    up_again = Told(f"0 {up(97)}\n50 tools[3].used=0 tools[3].limit=150\n60 alive")
    down_again = Told(f"0 {down(3)}\n50 tools[3].remaining=150 tools[3].limit=150\n60 alive")
    for told in (up_again, down_again):
        assert told.lives == [(0, 50, "12", 97, "reset"), (50, 50, "12", 0, "open")]
        assert told.limit_changes == []
        assert [f.limit for f in told.of(ToolLife)] == [100, 150]


def test_warning_left_is_a_level_in_the_sense_of_used():
    told = Told(f"0 {down(60)} tools[3].warning_remaining=10\n50 tools[3].warning_remaining=20\n60 alive")
    assert told.limit_changes == [(50, "warning_level", 90, 80)]
    assert told.of(ToolLife)[0].warning_level == 80


def test_basis_pot_and_lock():
    told = Told(f"0 {up(4)} tools[3].life_basis=time tools[3].pot=3\n9 tools[3].locked=true")
    life = told.of(ToolLife)[0]
    assert (life.basis, life.pot, life.locked, life.pot_key, life.open) == ("time", "3", True, "3", True)


CYCLE = "state=executing program_state={}"


@pytest.mark.parametrize(("begin", "before", "after"), [(up, (40, 43), (40, 42)), (down, (60, 57), (60, 58))])
def test_consumption_per_cycle(begin, before, after):
    field = "used" if begin is up else "remaining"
    told = Told(f"""
        0   {CYCLE.format("ready")} active_tool=12 {begin(before[0])}
        10  program_state=running
        60  program_state=ended
        60.2 tools[3].{field}={before[1]}
        70  program_state=running
        90  tools[3].{field}={before[1] + after[1] - after[0]}
        99  program_state=ended
    """)
    assert [[use.life_used for use in f.tools if use.tool == "12"] for f in told.of(Cycle)] == [[3], [2]]


def test_fields_told_again_unchanged_hide_no_consumption():
    told = Told(
        f"0 {CYCLE.format('ready')} {up(40)}\n10 program_state=running\n20 {up(41)}\n30 program_state=ended"
    )
    assert told.cycle.tools[0].life_used == 1


def test_a_new_tool_or_limit_is_no_consumption():
    told = Told(
        f"0 {CYCLE.format('ready')} {down(60)}\n10 program_state=running\n"
        "20 tools[3].limit=150\n30 tools[3].remaining=150\n40 program_state=ended"
    )
    assert told.cycle.tools == ()


def test_what_a_tool_used_up_out_of_sight_belongs_to_no_cycle():
    told = Told(f"""
        0   back {CYCLE.format("running")} {up(40)}
        20  lost
        50  back {CYCLE.format("running")}@30 {up(48)}
        60  tools[3].used=49
        70  program_state=ended
    """)
    assert [[use.life_used for use in f.tools] for f in told.of(Cycle)] == [[], [1]]
    assert told.lives == [(0, 60, "12", 49, "open")]


def test_a_tool_changed_in_a_gap_ends_its_life_at_the_return():
    told = Told(f"0 back {up(97)}\n20 lost\n50 back {up(5)}\n60 alive")
    assert told.lives == [(0, 50, "12", 97, "reset"), (50, 50, "12", 5, "open")]


def test_pots_are_told_apart():
    told = Told(
        "0 tools[1].number=5 tools[1].used=1 tools[2].number=5 tools[2].used=7\n9 tools[2].used=0\n20 alive"
    )
    assert told.lives == [(0, 9, "5", 7, "reset"), (0, 0, "5", 1, "open"), (9, 9, "5", 0, "open")]


def test_a_tool_that_comes_back_later_than_the_link_was_still_out_of_sight():
    told = Told(f"""
        0   back {CYCLE.format("ready")} {up(40)}
        20  lost
        20.2 tools[3].used=41
        50  back {CYCLE.format("ready")} tools[3].used=bad
        55  program_state=running
        60  tools[3].used=48
        65  tools[3].used=bad
        70  tools[3].used=51
        75  tools[3].used=53
        80  program_state=ended
    """)
    assert [use.life_used for use in told.cycle.tools] == [2]
    assert told.lives == [(0, 75, "12", 53, "open")]


def test_a_tool_read_at_last_in_a_cycle_that_went_on_was_out_of_sight():
    told = Told(f"""
        0   back {CYCLE.format("ready")} {up(40)}
        10  program_state=running
        20  lost
        20.2 tools[3].used=41
        50  back {CYCLE.format("running")}@10 {up(48)}
        60  tools[3].used=49
        70  program_state=ended
    """)
    assert told.cycles == [(10, 70, "complete")]
    assert [use.life_used for use in told.cycle.tools] == [1]
