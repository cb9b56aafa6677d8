"""Moves between two cuts: which step the time belongs to, and what goes on at once."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from swarfline.measure.motion import ALL, AXES, NONE, Axis, Motion

TILT, ROTARY = Axis(50, 4000 / 9, 0.2), Axis(75, 250, 0.2)
"""90 degrees take 0.9 s and 1.2 s, and 0.2 s to clamp."""


def motion(at_once):
    return Motion(0.6, 1.2, {"tilt": TILT, "rotary": ROTARY}, at_once)


def test_an_axis_that_stays_does_not_clamp():
    assert TILT.turn_s(0) == 0


@given(st.floats(0.001, 3000), st.floats(0.5, 100), st.floats(1, 3000))
def test_a_larger_angle_takes_longer_and_its_sign_does_not_matter(angle, speed, acceleration):
    axis = Axis(speed, acceleration, 0.1)
    assert axis.turn_s(angle) == axis.turn_s(-angle)
    assert axis.turn_s(angle) < axis.turn_s(angle * 1.01)


@given(st.floats(0.5, 100), st.floats(1, 3000))
def test_the_two_profiles_meet(speed, acceleration):
    edge = (6 * speed) ** 2 / acceleration
    below, above = (Axis(speed, acceleration).turn_s(edge * f) for f in (1 - 1e-9, 1 + 1e-9))
    assert below == pytest.approx(above, rel=1e-6)


@pytest.mark.parametrize(
    ("at_once", "change", "turns", "expected"),
    [
        (ALL, True, {}, (0.6, 0, 0.6)),
        (ALL, True, {"tilt": 90}, (0.6, 0.5, 0.1)),
        (ALL, True, {"tilt": 90, "rotary": 90}, (0.6, 0.8, 0)),
        (ALL, False, {"tilt": 90, "rotary": 90}, (0, 1.4, 0)),
        (AXES, True, {"tilt": 90, "rotary": 90}, (0.6, 1.4, 0.6)),
        (AXES, False, {"rotary": -90}, (0, 1.4, 0)),
        (NONE, True, {"tilt": 90, "rotary": 90}, (0.6, 2.5, 0.6)),
        (NONE, False, {"tilt": 90, "rotary": 90}, (0, 2.5, 0)),
        (NONE, False, {}, (0, 0, 0)),
    ],
)
def test_what_goes_on_at_once(at_once, change, turns, expected):
    found = motion(at_once).between(change, turns)
    assert found == pytest.approx(expected)
    assert found.all_s == pytest.approx(sum(expected))


@given(st.booleans(), st.dictionaries(st.sampled_from(["tilt", "rotary"]), st.floats(-360, 360)))
def test_more_at_once_is_never_slower(change, turns):
    quick, middle, slow = (motion(at_once).between(change, turns).all_s for at_once in (ALL, AXES, NONE))
    assert quick <= middle + 1e-9
    assert middle <= slow + 1e-9


def test_an_axis_that_is_not_there():
    with pytest.raises(KeyError):
        motion(ALL).between(True, {"swivel": 90})
