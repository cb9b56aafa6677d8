"""Times of rotary moves and of whole cycles. All values here: common practice, no source (K-1 to K-5)."""

import pytest

from swarfline_sim.motion import Axis, axis_time_s, table_time_s, travel
from swarfline_sim.program import Cut, Kinematics, Program, ToolStep, cycle_seconds, plan_program, shortened

TILT_ACCEL, ROTARY_ACCEL = 444.4444444444444, 250.0


@pytest.mark.parametrize(
    ("accel", "cap_rpm", "theta", "time_s", "peak_rpm", "profile"),
    [
        (TILT_ACCEL, 50, 10, 0.30000000000000004, 11.111111111111112, "triangle"),
        (TILT_ACCEL, 50, 45, 0.6363961030678927, 23.57022603955158, "triangle"),
        (TILT_ACCEL, 50, 90, 0.9, 33.33333333333333, "triangle"),
        (TILT_ACCEL, 50, 120, 1.0392304845413265, 38.49001794597505, "triangle"),
        (TILT_ACCEL, 50, 180, 1.2727922061357855, 47.14045207910316, "triangle"),
        (TILT_ACCEL, 50, 360, 1.875, 50.0, "trapezoid"),
        (ROTARY_ACCEL, 75, 10, 0.4, 8.333333333333334, "triangle"),
        (ROTARY_ACCEL, 75, 45, 0.848528137423857, 17.67766952966369, "triangle"),
        (ROTARY_ACCEL, 75, 90, 1.2, 25.0, "triangle"),
        (ROTARY_ACCEL, 75, 120, 1.3856406460551018, 28.867513459481287, "triangle"),
        (ROTARY_ACCEL, 75, 180, 1.697056274847714, 35.35533905932738, "triangle"),
        (ROTARY_ACCEL, 75, 360, 2.4, 50.0, "triangle"),
    ],
)
def test_move_takes_what_kinematics_say(accel, cap_rpm, theta, time_s, peak_rpm, profile):
    move = travel(theta, accel, cap_rpm)
    assert move.time_s == pytest.approx(time_s, rel=1e-12)
    assert move.peak_rpm == pytest.approx(peak_rpm, rel=1e-12)
    assert move.profile == profile
    assert travel(-theta, accel, cap_rpm) == move


@pytest.mark.parametrize(
    ("accel", "cap_rpm", "theta", "clamp_s", "total_s"),
    [
        (1000.0, 50, 90, 0.3, 0.9),
        (1500.0, 50, 90, 0.4, 0.9),
        (360.0, 75, 90, 0.2, 1.2),
        (90.0, 100, 90, 0.0, 2.0),
        (40.0, 100, 90, 0.0, 3.0),
    ],
)
def test_clamping_adds_to_the_move(accel, cap_rpm, theta, clamp_s, total_s):
    assert axis_time_s(Axis(accel, cap_rpm, clamp_s), theta) == pytest.approx(total_s, rel=1e-12)


def test_axis_that_stays_needs_no_time():
    assert axis_time_s(Axis(100.0, 50, 0.5), 0) == 0


def test_both_axes_of_the_table_move_at_once():
    tilt, rotary = Axis(TILT_ACCEL, 50), Axis(ROTARY_ACCEL, 75)
    assert table_time_s(tilt, rotary, 90, 90) == pytest.approx(1.2)
    assert table_time_s(tilt, rotary, 90, 0) == pytest.approx(0.9)


def _turning_program(turns):
    """A program that changes the tool and turns the table by each (tilt, rotary), and cuts 1 s each time."""
    steps, tilt, rotary = [], 0.0, 0.0
    for pot, (by_tilt, by_rotary) in enumerate(turns, 1):
        tilt, rotary = tilt + by_tilt, rotary + by_rotary
        steps.append(ToolStep(pot, 6000, 1, (Cut(10.0, 1, 1, 0.1, tilt, rotary),)))
    return Program("O1", "P", 1, 60.0, tuple(steps))


@pytest.mark.parametrize(("overlaps", "expected"), [(True, 6.0 + 0.9 + 5 * 1.2), (False, 6.0 + 6 * 0.9 + 5 * 1.2)])
def test_change_and_table_overlap_where_the_control_can(overlaps, expected):
    kinematics = Kinematics(
        tilt=Axis(TILT_ACCEL, 50),
        rotary=Axis(ROTARY_ACCEL, 75),
        open_s=0,
        close_s=0,
        approach_s=0,
        overlaps=overlaps,
    )
    # the table tilts out and back three times; the first tool is in the spindle already, so its move counts alone
    planned = plan_program(_turning_program([(90, 0), (-90, 0), (90, 0), (-90, 0), (90, 0), (-90, 0)]), kinematics)
    change_home = 1.2
    assert cycle_seconds(planned, kinematics) == pytest.approx(expected + change_home, abs=1e-9)


def test_shortened_program_hits_its_time():
    kinematics = Kinematics()
    program = _turning_program([(0, 0), (90, 0), (0, 90)])
    short = shortened(program, kinematics, 12.0)
    assert cycle_seconds(plan_program(short, kinematics), kinematics) == pytest.approx(12.0, abs=0.01)
