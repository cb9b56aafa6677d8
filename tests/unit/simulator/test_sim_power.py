"""Cutting power. Sources are named beside each check."""

import pytest

from swarfline_sim.power import AL_SI, STEP_W, cutting_power_kw, feed_mm_min, metered_w, specific_force_mpa


def test_face_milling_example():
    # P-1: Mitsubishi Materials technical data, "Cutting power for face milling", prints 1.68 kW
    assert cutting_power_kw(2, 80, 280, 1800, 0.8) == pytest.approx(1.68, rel=1e-12)


@pytest.mark.parametrize(
    ("ap", "ae", "fz", "teeth", "speed", "kc", "feed", "power_kw", "motor_kw"),
    [
        # P-5 and P-6: derived from the formula of P-1
        (1.5, 40, 0.1, 4, 10_000, 700, 4000.0, 2.8, 3.5),
        (5, 5, 0.1, 3, 12_000, 700, 3600.0, 1.05, 1.3125),
        (3, 6, 0.1, 2, 14_000, 700, 2800.0, 0.588, 0.735),
        (5, 3, 0.1, 4, 3_200, 1980, 1280.0, 0.6336, 0.792),
    ],
)
def test_milling_cases(ap, ae, fz, teeth, speed, kc, feed, power_kw, motor_kw):
    vf = feed_mm_min(fz, teeth, speed)
    assert vf == pytest.approx(feed, rel=1e-12)
    assert cutting_power_kw(ap, ae, vf, kc) == pytest.approx(power_kw, rel=1e-12)
    assert cutting_power_kw(ap, ae, vf, kc, 0.8) == pytest.approx(motor_kw, rel=1e-12)


@pytest.mark.parametrize(("fz", "kc"), [(0.1, 700), (0.2, 600), (0.3, 490), (0.4, 450), (0.6, 390)])
def test_force_law_follows_the_table(fz, kc):
    # P-3, P-4: Mitsubishi Materials technical data, light alloy Al-Si; the fit's worst deviation is 5.1 %
    assert specific_force_mpa(AL_SI, fz) == pytest.approx(kc, rel=0.052)


def test_meter_resolves_whole_steps():
    assert [metered_w(w) for w in (1449, 1451, 2000)] == [1400, 1500, 2000]
    assert STEP_W == 100
