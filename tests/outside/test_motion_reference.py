"""Rotary positioning and non-cutting times: elementary kinematics, and typical machine values.

The values of the machines are common practice, no source; what follows from them is reckoned by hand.
"""

from math import radians

import pytest

from swarfline.measure.motion import ALL, NONE, Axis, Motion

TILT, ROTARY = Axis(50, 4000 / 9), Axis(75, 250)
"""90 degrees in 0.9 s and in 1.2 s."""


@pytest.mark.parametrize(
    ("max_rpm", "acceleration", "clamp_s", "total_s"),
    [
        (50, 4000 / 9, 0, 0.9), (50, 562.5, 0.1, 0.9), (50, 734.6938775510205, 0.2, 0.9), (50, 1000, 0.3, 0.9),
        (50, 1500, 0.4, 0.9), (75, 250, 0, 1.2), (75, 297.52066115702485, 0.1, 1.2), (75, 360, 0.2, 1.2),
        (75, 4000 / 9, 0.3, 1.2), (75, 562.5, 0.4, 1.2),
    ],
)  # fmt: skip
def test_k_1_k_2_accelerations_that_90_degrees_imply(max_rpm, acceleration, clamp_s, total_s):
    """By hand: α = 4·θ/T² below the greatest speed; at 1500°/s² and 50/min it is reached."""
    assert Axis(max_rpm, acceleration, clamp_s).turn_s(90) == pytest.approx(total_s, rel=1e-12)


def test_k_1_in_radians():
    """By hand: 444.44°/s² are 7.757 rad/s², 250°/s² are 4.363 rad/s²."""
    assert radians(TILT.acceleration_deg_s2) == pytest.approx(7.757, abs=5e-4)
    assert radians(ROTARY.acceleration_deg_s2) == pytest.approx(4.363, abs=5e-4)


@pytest.mark.parametrize(
    ("axis", "angle", "time_s"),
    [
        (TILT, 10, 0.3), (TILT, 45, 0.6363961030678927), (TILT, 90, 0.9), (TILT, 120, 1.0392304845413265),
        (TILT, 180, 1.2727922061357855), (TILT, 360, 1.875), (ROTARY, 10, 0.4), (ROTARY, 45, 0.848528137423857),
        (ROTARY, 90, 1.2), (ROTARY, 120, 1.3856406460551018), (ROTARY, 180, 1.697056274847714), (ROTARY, 360, 2.4),
    ],
)  # fmt: skip
def test_k_3_other_angles(axis, angle, time_s):
    """By hand: times scale with √θ; only the tilt by 360° reaches its speed."""
    assert axis.turn_s(angle) == pytest.approx(time_s, rel=1e-12)


@pytest.mark.parametrize(("acceleration", "time_s"), [(90, 2), (40, 3)])
def test_k_4_indexing_tables(acceleration, time_s):
    """By hand: 90° in 2 to 3 s are 90 to 40°/s²."""
    assert Axis(1000, acceleration).turn_s(90) == pytest.approx(time_s, rel=1e-12)


@pytest.mark.parametrize(("at_once", "apart_s", "cycle_s"), [(ALL, 18.0, 56.0), (NONE, 30.6, 68.6)])
def test_k_5_what_is_not_cutting(at_once, apart_s, cycle_s):
    """By hand: 6 changes with both axes, 4 changes alone, 5 turns of the rotary axis, 38 s of cutting."""
    motion = Motion(0.6, 1.2, {"tilt": TILT, "rotary": ROTARY}, at_once)
    both = motion.between(True, {"tilt": 90, "rotary": 90}).all_s
    alone = motion.between(True, {}).all_s
    turn = motion.between(False, {"rotary": 90}).all_s
    found = 6 * both + 4 * alone + 5 * turn
    assert found == pytest.approx(apart_s, rel=1e-12)
    assert found + 38 == pytest.approx(cycle_s, rel=1e-12)
    if at_once == ALL:
        assert found / (found + 38) == pytest.approx(0.321429, abs=5e-7)
