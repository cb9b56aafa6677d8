"""The present picture of a machine, which looks ahead of the reorder window and changes nothing."""

import json

import pytest

from swarfline.interpret.fold import Fold
from swarfline.interpret.settings import MachineSettings

from .told import Told, at_us, readings_of, seconds, settings_of


def picture(story, **settings):
    shown = Told(story, end=False, **settings).fold.snapshot("N1")
    return shown["condition"], seconds(shown["since_us"])


AHEAD = [
    ("0 state=executing\n9 alive", ("producing", 0)),
    ("0 state=executing\n9 state=not_executing", ("waiting", 9)),
    ("0 state=executing\n9 state=not_executing\n9.5 feed_override=90", ("waiting", 9)),
    ("0 state=executing\n9 state=not_executing state=executing", ("producing", 0)),
    ("0 state=executing\n9 state=bad", ("unobserved", 9)),
    ("0 state=executing\n9 lost", ("unobserved", 9)),
    ("0 state=executing\n9 lost\n9.5 alive", ("unobserved", 9)),
    ("0 state=executing\n5 lost\n9 back state=not_executing", ("waiting", 9)),
    ("0 state=executing alarm=true\n5 lost\n9 back state=not_executing", ("waiting", 9)),
    ("0 state=executing\n5 lost\n20 alive", ("unobserved", 5)),
]


@pytest.mark.parametrize(("story", "shown"), AHEAD)
def test_the_condition_ahead_of_the_window(story, shown):
    assert picture(story) == shown


@pytest.mark.parametrize(
    "story", ["0 state=executing power=5\n3 state=not_executing", "0 back state=executing\n9 lost"]
)
def test_it_shows_what_is_told_once_the_window_has_passed(story):
    told = Told(story + "\n60 alive")
    assert picture(story) == (told.conditions[-1][2], told.conditions[-1][0])


def test_a_machine_that_never_spoke():
    shown = Fold([MachineSettings("N1", frozenset({"state"}))]).snapshot("N1")
    assert (shown["at_us"], shown["since_us"], shown["condition"], shown["linked"]) == (
        None,
        None,
        "unobserved",
        False,
    )


def test_values_and_cycle():
    story = "0 state=executing program_state=ready part=PH-12 part_count=7\n5 program_state=running"
    shown = Told(f"{story}\n9 spindle_load=3.5", end=False).fold.snapshot("N1")
    assert shown["at_us"] == at_us(9)
    assert shown["cycle"] == {"start_us": at_us(5), "program": "", "part": "PH-12", "lot": ""}
    assert shown["values"] == {
        "state": "executing", "program_state": "running", "part": "PH-12", "spindle_load": 3.5,
    }  # fmt: skip
    assert json.loads(json.dumps(shown)) == shown


def test_out_of_sight_no_values_are_shown():
    shown = Told("0 back state=executing power=5 program_state=running\n9 lost", end=False).fold.snapshot("N1")
    assert (shown["values"], shown["cycle"], shown["linked"]) == ({}, None, False)


def test_a_checkpoint_from_before_tools_moved_and_loops_were_cut_is_gone_on_with():
    first = "0 state=executing program_state=running tools[3].number=12 tools[3].used=4 tools[3].limit=9\n5 alive"
    told = Told(first, offers=("cycle_count",))
    state = json.loads(json.dumps(told.fold.save("N1")))
    pots, touched, _, _ = state["tools"]
    state["tools"] = [{key: pot[:11] for key, pot in pots.items()}, touched]
    records, roles, kept, flags = state["cycles"]
    for record in records:
        del record["standstill"]
    state["cycles"] = [records, roles, kept, flags[:4]]
    fold = Fold([settings_of(readings_of(first), ("cycle_count",))])
    fold.load("N1", state)
    fold.feed(readings_of("9 tools[3].used=5 program_state=ended\n20 alive"))
    shown = {f.kind: f for f in fold.open_facts()}
    assert shown["tool_life"].used == 5
    assert fold.save("N1")["cycles"][3][4:] == [-1, None]
