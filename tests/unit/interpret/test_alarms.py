"""Alarms of the machine: raised, gone, named."""

from swarfline.facts import Alarm

from .told import Told


def test_from_raised_to_gone():
    told = Told("0 alarm=false\n5 alarm=true alarm_code=7 alarm_text=Coolant\n9 alarm=false\n12 alive")
    assert told.alarms == [(5, 9, "7", "Coolant")]


def test_another_code_is_another_alarm():
    told = Told("0 alarm=true alarm_code=7\n5 alarm_code=8\n9 alarm=false")
    assert told.alarms == [(0, 5, "7", ""), (5, 9, "8", "")]


def test_a_code_that_follows_names_the_alarm_that_is_active():
    told = Told("0 alarm=true\n0.3 alarm_code=7 alarm_text=Door\n9 alarm=false")
    assert told.alarms == [(0, 9, "7", "Door")]


def test_a_code_taken_back_first_changes_nothing():
    told = Told("0 alarm=true alarm_code=7\n8 alarm_code=\n9 alarm=false")
    assert told.alarms == [(0, 9, "7", "")]


def test_an_alarm_ends_with_sight_and_begins_anew_with_it():
    told = Told("0 alarm=true alarm_code=7\n5 lost\n8 back alarm=true@0 alarm_code=7@0\n9 alive")
    assert told.alarms == [(0, 5, "7", ""), (8, 9, "7", "")]
    assert [f.open for f in told.of(Alarm)] == [False, True]


def test_an_alarm_of_no_length_is_none():
    assert Told("0 alarm=false\n5 alarm=true alarm=false\n9 alive").alarms == []
