"""Cutting power from material removal, and what the whole machine draws.

P = ap ae vf kc / (60e6 eta), the common formula for milling (as in cutting-tool makers' technical data);
kc = k1 fz^-m, a power law for the specific cutting force.
"""

from __future__ import annotations

from dataclasses import dataclass

STEP_W = 100
"""The machine's meter resolves this much; smaller changes of power do not show."""


@dataclass(frozen=True, slots=True)
class Material:
    """Specific cutting force law: ``k1_mpa`` at 1 mm feed per tooth, falling with the power ``exponent``."""

    k1_mpa: float
    exponent: float


AL_SI = Material(332.0, 0.336)
"""Aluminium-silicon die-casting alloy; fit through a published table of 5 feeds, worst deviation 5.1 %."""


@dataclass(frozen=True, slots=True)
class Levels:
    """Power of a machine in W by what it does besides cutting; ``rated_w`` is the spindle motor's."""

    off_w: int = 20
    ready_w: int = 650
    setup_w: int = 900
    warm_up_w: int = 1900
    running_w: int = 1400
    changing_w: int = 1700
    rated_w: int = 7500
    efficiency: float = 0.8


def specific_force_mpa(material: Material, fz_mm: float) -> float:
    """kc in MPa (N/mm²) at a feed per tooth in mm."""
    return float(material.k1_mpa * fz_mm**-material.exponent)


def feed_mm_min(fz_mm: float, teeth: int, speed_rpm: float) -> float:
    """Table feed vf in mm/min."""
    return fz_mm * teeth * speed_rpm


def cutting_power_kw(
    ap_mm: float, ae_mm: float, vf_mm_min: float, kc_mpa: float, efficiency: float = 1.0
) -> float:
    """Cutting power in kW; with the drive's ``efficiency`` it is the power at the motor."""
    return ap_mm * ae_mm * vf_mm_min * kc_mpa / (60e6 * efficiency)


def metered_w(watts: float) -> int:
    """Power as the meter shows it, in steps of STEP_W."""
    return round(watts / STEP_W) * STEP_W
