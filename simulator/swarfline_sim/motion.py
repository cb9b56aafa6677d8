"""Positioning of rotary axes by a velocity profile of constant acceleration.

T = theta/omega + omega/alpha where the speed limit is reached, else T = 2 sqrt(theta/alpha): elementary
kinematics of the trapezoidal and the triangular profile.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

DEG_S_PER_RPM = 6.0


@dataclass(frozen=True, slots=True)
class Axis:
    """A rotary axis: acceleration in degrees/s², top speed in 1/min, clamp and settle time in s."""

    accel_deg_s2: float
    max_rpm: float
    clamp_s: float = 0.0


@dataclass(frozen=True, slots=True)
class Move:
    """A finished move: time in s (without clamping), peak speed in 1/min, ``triangle`` or ``trapezoid``."""

    time_s: float
    peak_rpm: float
    profile: str


def travel(theta_deg: float, accel_deg_s2: float, max_rpm: float) -> Move:
    """Move through ``theta_deg`` (its sign does not matter) from rest to rest."""
    theta = abs(theta_deg)
    top = max_rpm * DEG_S_PER_RPM
    if theta >= top * top / accel_deg_s2:
        return Move(theta / top + top / accel_deg_s2, max_rpm, "trapezoid")
    return Move(2 * math.sqrt(theta / accel_deg_s2), math.sqrt(theta * accel_deg_s2) / DEG_S_PER_RPM, "triangle")


def axis_time_s(axis: Axis, theta_deg: float) -> float:
    """Seconds to turn ``axis`` by ``theta_deg`` with clamping; 0 when it stays where it is."""
    if theta_deg == 0:
        return 0.0
    return travel(theta_deg, axis.accel_deg_s2, axis.max_rpm).time_s + axis.clamp_s


def table_time_s(tilt: Axis, rotary: Axis, tilt_deg: float, rotary_deg: float) -> float:
    """Seconds for both axes of a table, which move at once: the slower one decides."""
    return max(axis_time_s(tilt, tilt_deg), axis_time_s(rotary, rotary_deg))
