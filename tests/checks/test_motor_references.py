"""The simulated motor against handbook figures and closed forms.

Marks: [R] read in a public source, [C] computed independently, [M] from memory of the named book, recomputed.
"""

from __future__ import annotations

from dataclasses import replace
from math import lcm, pi, tan

import numpy as np
import pytest

from demo_fleet.armature import TURN, Motor, brush_emf, simulate

ANGLE = np.arange(4096) * TURN / 4096
# Sinusoidal coils and a brush just short of one bar pitch: the ideal commutator of the textbooks.
IDEAL = Motor(alike=True, ramp_deg=0.0, brush_bars=0.9, once_per_turn=0.0, vane_pulsation=0.0)


def strongest_order(values_over_turn: np.ndarray) -> int:
    spectrum = np.abs(np.fft.rfft(values_over_turn - values_over_turn.mean()))
    return int(spectrum.argmax())


# [C] brute-force sums of |sin|; a DC-micromotor maker's catalogue [R] states twice the segments for 5.
@pytest.mark.parametrize(
    ("bars", "poles", "ripples"),
    [
        *[(3, 2, 6), (4, 2, 4), (5, 2, 10), (6, 2, 6), (7, 2, 14), (8, 2, 8), (9, 2, 18), (10, 2, 10)],
        *[(12, 2, 12), (13, 2, 26), (10, 4, 20), (12, 4, 12), (13, 4, 52)],
    ],
)
def test_ripples_per_turn(bars: int, poles: int, ripples: int) -> None:
    motor = replace(IDEAL, bars=bars, poles=poles)
    assert motor.ripples_per_turn == ripples == lcm(poles, bars)
    assert strongest_order(brush_emf(motor, ANGLE)) == ripples


# [C] ideal EMF, peak to peak over mean: (pi/C) tan(pi/2C) for even C, (pi/2C) tan(pi/4C) for odd C.
# C = 6 is the six-pulse rectifier's .1402979.
@pytest.mark.parametrize(
    ("bars", "expected"), [(6, 0.1402979), (7, 0.0252837), (8, 0.0781127), (10, 0.0497579), (12, 0.0344665)]
)
def test_ideal_emf_ripple(bars: int, expected: float) -> None:
    formula = pi / bars * tan(pi / 2 / bars) if bars % 2 == 0 else pi / 2 / bars * tan(pi / 4 / bars)
    assert formula == pytest.approx(expected, abs=5e-8)
    # The formula has an infinitely thin brush; ours bridges two bars for a sixth of the time.
    emf = brush_emf(replace(IDEAL, bars=bars, brush_bars=0.2), ANGLE)
    assert np.ptp(emf) / emf.mean() == pytest.approx(expected, rel=0.02)


def test_speed_of_eight_bars_at_800_hz() -> None:
    # [C] 800 Hz of ripple from 8 bars is 10 ms a turn: 6,000 rpm; a 7-bar motor (14 ripples) read as 8 bars
    # comes out 75 % high.
    trace = simulate(IDEAL, duration_s=0.2, seed=1)
    ripple_hz = 8 * trace.mean_rpm() / 60
    spectrum = np.abs(np.fft.rfft((trace.current_a - trace.current_a.mean()) * np.hanning(20_000)))
    assert spectrum.argmax() * 5.0 == pytest.approx(ripple_hz, abs=5.0)
    seven = replace(IDEAL, bars=7)
    trace = simulate(seven, duration_s=0.2, seed=1)
    spectrum = np.abs(np.fft.rfft((trace.current_a - trace.current_a.mean()) * np.hanning(20_000)))
    assert spectrum.argmax() * 5.0 / 8 * 60 == pytest.approx(1.75 * trace.mean_rpm(), rel=0.01)


def test_fitzgerald_example_7_9() -> None:
    """Fitzgerald, Kingsley & Umans, Example 7.9 [M].

    50 V, 1.25 A, 2,100 rpm without load, 1.03 ohm; then 48 V at 1,700 rpm.
    """
    emf_idle = 50 - 1.25 * 1.03
    k = emf_idle / (2100 * TURN / 60)
    assert emf_idle == pytest.approx(48.7125)
    assert k == pytest.approx(0.2215096, abs=1e-7)
    emf = k * 1700 * TURN / 60
    amps = (48 - emf) / 1.03
    assert emf == pytest.approx(39.4339, abs=1e-4)
    assert amps == pytest.approx(8.31657, abs=1e-5)
    assert emf * amps == pytest.approx(327.955, abs=1e-3)
    assert emf * amps - emf_idle * 1.25 == pytest.approx(267.065, abs=1e-3)

    # The same machine as a network of 24 coils: loss torque constant in power terms at 1,700 rpm.
    omega = 1700 * TURN / 60
    motor = Motor(
        bars=24, alike=True, winding_ohm=1.03, winding_h=1e-3, k_e=k, brush_drop_v=0.0, brush_bars=0.2,
        contact_ohm=1e-3, inertia_kg_m2=5e-5, friction_nm=emf * amps / omega, viscous_nm_s=0.0,
        displacement_m3=0.0,
    )  # fmt: skip
    trace = simulate(motor, supply_v=48.0, duration_s=0.1, seed=1)
    # Coils shorted by the brushes take a little of the resistance away.
    assert trace.current_a.mean() == pytest.approx(amps, rel=0.01)
    assert trace.mean_rpm() == pytest.approx(1700, rel=0.01)


def test_michigan_dc_motor_tutorial() -> None:
    """University of Michigan control tutorials, DC motor speed [R]: J .01, b .1, K .01, R 1, L .5.

    Gain .0999001 rad/s per volt, poles -9.997499 and -2.002501 [C]: step response checked over 2.5 s.
    Brushes are narrow here, since a bridged coil leaves the circuit and takes its resistance with it.
    """
    gain = 0.01 / (0.1 * 1 + 0.01**2)
    poles = np.roots([0.01 * 0.5, 0.01 * 1 + 0.5 * 0.1, 0.1 * 1 + 0.01**2])
    assert gain == pytest.approx(0.0999001, abs=1e-7)
    assert sorted(poles) == pytest.approx([-9.997499, -2.002501], abs=1e-6)

    motor = Motor(
        bars=24, alike=True, winding_ohm=1.0, winding_h=0.5, leakage_share=0.0, k_e=0.01, brush_drop_v=0.0,
        brush_bars=0.05, contact_ohm=1e-3, choke_h=1e-9, inertia_kg_m2=0.01, friction_nm=0.0,
        viscous_nm_s=0.1, displacement_m3=0.0,
    )  # fmt: skip
    trace = simulate(motor, supply_v=1.0, duration_s=2.5, sample_rate_hz=1000.0, seed=1, start="inrush")
    t = np.arange(len(trace.omega_rad_s)) / 1000
    fast, slow = sorted(poles)
    step = gain * (1 + (slow * np.exp(fast * t) - fast * np.exp(slow * t)) / (fast - slow))
    assert trace.omega_rad_s == pytest.approx(step, abs=0.02 * gain)
