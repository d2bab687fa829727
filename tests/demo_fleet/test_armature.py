"""The simulated motor: balance, symmetry, faults in the right direction, exact truth, repeatability."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from demo_fleet.armature import FAULTS, TURN, Faults, Motor, Supply, Trace, forced_speed, simulate

SMOOTH = Motor(alike=True, once_per_turn=0.0, vane_pulsation=0.0)


def figures(trace: Trace) -> np.ndarray:
    """Mean current, peak to peak, rpm."""
    return np.array([trace.current_a.mean(), np.ptp(trace.current_a), trace.mean_rpm()])


def orders(trace: Trace, turns: int = 10) -> np.ndarray:
    """Amplitude of the current by order of the rotation, over whole turns; index = order."""
    start = trace.angle_rad[0]
    at = np.linspace(start, start + turns * TURN, turns * 512, endpoint=False)
    current = np.interp(at, trace.angle_rad, trace.current_a)
    return (2 * np.abs(np.fft.rfft(current)) / len(current))[::turns]


@pytest.fixture(scope="module")
def healthy() -> np.ndarray:
    return figures(simulate(Motor(), duration_s=0.1, seed=3))


def test_healthy_pump_agrees_with_the_trade(healthy: np.ndarray) -> None:
    mean_a, ripple_a, rpm = healthy
    assert 4 < mean_a < 6
    assert 5_500 < rpm < 6_500
    assert 0.05 < ripple_a / mean_a < 0.12  # the rule of thumb starts at 15 %


def test_every_healthy_pump_stays_below_the_ripple_rule() -> None:
    ripples = []
    for seed in range(12):
        current, _ = forced_speed(Motor(spread_seed=seed), supply_v=13.5, rpm=6000)
        ripples.append(np.ptp(current) / current.mean())
    assert max(ripples) < 0.13


# Sign and rough size of the signatures (current, ripple, speed against healthy), from an independent
# simulation of another motor of this kind: open coil -6 %, x4.5, -19 %; shorted +23 %, x4.2, +14 %; isolated
# bar -4 %, x5.8, -4 %; burnt bar -1 %, x1.9, -2 %; worn brushes -7 %, x1.05, -15 %; dry -54 %, , +20 %.
@pytest.mark.parametrize(
    ("fault", "current", "ripple", "speed"),
    [
        ("open coil", (-0.10, -0.03), (3, 10), (-0.25, -0.12)),
        ("shorted coil", (0.12, 0.40), (3, 12), (0.04, 0.20)),
        ("isolated bar", (-0.07, -0.005), (4, 12), (-0.09, -0.02)),
        ("burnt bar", (-0.03, 0.0), (1.5, 4), (-0.04, -0.005)),
        ("worn brushes", (-0.10, -0.03), (0.7, 1.6), (-0.22, -0.10)),
        ("dry", (-0.65, -0.40), (0.3, 3), (0.12, 0.30)),
        ("drag", (0.15, 0.50), (0.8, 1.6), (-0.20, -0.06)),
        ("restriction", (0.10, 0.40), (0.8, 1.6), (-0.15, -0.04)),
        ("starved", (-0.30, -0.05), (0.8, 4), (0.03, 0.15)),
        ("bad ground", (-0.10, -0.02), (0.5, 1.2), (-0.25, -0.10)),
    ],
)
def test_signature(
    healthy: np.ndarray,
    fault: str,
    current: tuple[float, float],
    ripple: tuple[float, float],
    speed: tuple[float, float],
) -> None:
    mean_a, ripple_a, rpm = figures(simulate(Motor(), duration_s=0.1, seed=3, faults=fault)) / healthy
    assert current[0] < mean_a - 1 < current[1]
    assert ripple[0] < ripple_a < ripple[1]
    assert speed[0] < rpm - 1 < speed[1]


def test_sensitivities_to_volts_pressure_and_heat() -> None:
    """dw/w = (dV/V' - a c dp/p - a dR/R)/D and dI/I = b dw/w + c dp/p, D = 1 - a + a b, from this motor's own
    a = R I / V', b and c. Bridged coils make the effective a a little smaller than the winding's."""
    base = simulate(SMOOTH, duration_s=0.1)
    mean_a, omega = base.current_a.mean(), base.mean_rpm() * TURN / 60
    v_net = 13.5 - 2 * SMOOTH.brush_drop_v
    a = 1 - SMOOTH.k_e * omega / v_net
    viscous = SMOOTH.viscous_nm_s * omega
    pressure = SMOOTH.rated_kpa * 1e3 * SMOOTH.displacement_m3 / TURN
    torque = SMOOTH.friction_nm + viscous + pressure
    b, c = viscous / torque, pressure / torque
    d = 1 - a + a * b
    for change, speed, current in (
        ({"supply_v": 14.0}, 0.5 / v_net / d, b * 0.5 / v_net / d),
        ({"pressure_kpa": 420.0}, -a * c * 0.05 / d, c * 0.05 * (1 - a * b / d)),
    ):
        other = simulate(SMOOTH, duration_s=0.1, **change)
        assert other.mean_rpm() / base.mean_rpm() - 1 == pytest.approx(speed, rel=0.1)
        assert other.current_a.mean() / mean_a - 1 == pytest.approx(current, rel=0.1)
    hot = simulate(SMOOTH, duration_s=0.1, fuel_temp_c=65.0)
    assert -0.06 < hot.mean_rpm() / base.mean_rpm() - 1 < -0.03


def test_power_balance_over_whole_turns() -> None:
    # V I = T w + heat in copper, contacts and brush drops; a narrow brush bridges next to no coil, so that
    # the winding's resistance between the brushes is the whole one.
    motor = replace(SMOOTH, brush_bars=0.2)
    current, torque = forced_speed(motor, supply_v=13.5, rpm=6000)
    shaft_w = torque.mean() * 6000 * TURN / 60
    heat_w = (motor.winding_ohm + 2 * motor.contact_ohm) * np.mean(current**2)
    heat_w += 2 * motor.brush_drop_v * current.mean()
    assert shaft_w + heat_w == pytest.approx(13.5 * current.mean(), rel=0.03)


def test_alike_motor_shows_only_the_bars() -> None:
    spectrum = orders(simulate(SMOOTH, duration_s=0.15, seed=2))
    others = [m for m in range(1, 40) if m % 8]
    assert spectrum[8] > 0.05
    assert spectrum[others].max() < 2e-3 * spectrum[8]


def test_half_turn_symmetry() -> None:
    """One bad bar of a two-pole motor shows twice a turn: even orders, hardly any odd ones."""
    motor = replace(SMOOTH, alike=True)
    spectrum = orders(simulate(motor, duration_s=0.15, seed=2, faults=Faults(burnt_bar=5)))
    assert spectrum[2] > 20 * spectrum[[1, 3, 5]].max()
    start = simulate(motor, duration_s=0.15, seed=2, faults=Faults(burnt_bar=5))
    turn = np.linspace(0, TURN, 512, endpoint=False) + start.angle_rad[0]
    wave = np.interp(turn, start.angle_rad, start.current_a)
    assert wave[:256] == pytest.approx(wave[256:], abs=0.03)
    dips = np.sort(np.argsort(wave)[:20])
    assert np.ptp(dips) >= 200  # two dips, half a turn apart


def test_truth_is_exact() -> None:
    trace = simulate(Motor(), duration_s=0.2, seed=5, supply=Supply(wander_pct=1.0))
    by_speed = trace.omega_rad_s[2000:8000].mean() * 60 / TURN
    assert trace.mean_rpm(0.02, 0.08) == pytest.approx(by_speed, rel=2e-5)
    assert np.all(np.diff(trace.angle_rad) > 0)


def test_same_seed_same_trace_whatever_ran_before() -> None:
    first = simulate(Motor(spread_seed=4), duration_s=0.05, seed=8, faults="starved")
    simulate(Motor(spread_seed=5), duration_s=0.05, seed=9)
    again = simulate(Motor(spread_seed=4), duration_s=0.05, seed=8, faults="starved")
    assert np.array_equal(first.current_a, again.current_a)
    other = simulate(Motor(spread_seed=4), duration_s=0.05, seed=9, faults="starved")
    assert not np.array_equal(first.current_a, other.current_a)


def test_sample_rate_does_not_change_the_motor() -> None:
    slow = simulate(Motor(), duration_s=0.1, seed=3, sample_rate_hz=20_000)
    fast = simulate(Motor(), duration_s=0.1, seed=3, sample_rate_hz=300_000)
    assert len(slow.current_a) == 2_000
    assert len(fast.current_a) == 30_000
    assert slow.mean_rpm() == pytest.approx(fast.mean_rpm(), rel=2e-3)


def test_inrush_and_settling() -> None:
    trace = simulate(Motor(), duration_s=0.5, seed=1, start="inrush")
    steady = trace.current_a[-10_000:].mean()
    assert 2.3 < trace.current_a.max() / steady < 5.5
    outside = np.flatnonzero(np.abs(trace.omega_rad_s / trace.omega_rad_s[-1] - 1) > 0.05)
    assert 0.012 < outside[-1] / trace.sample_rate_hz < 0.27
    assert trace.omega_rad_s[0] < 5


def test_prime_stops_and_coasts() -> None:
    trace = simulate(Motor(), duration_s=0.4, seed=1, start="prime", prime_s=0.3)
    after = trace.current_a[31_000:]
    assert np.all(after == 0)
    assert 0 < trace.omega_rad_s[-1] < trace.omega_rad_s[29_000]


def test_pwm_sets_the_mean_volts() -> None:
    chopped = simulate(Motor(), duration_s=0.1, supply=Supply(pwm_hz=4000, pwm_duty=0.8))
    mean_v = 13.5 * 0.8 - 0.7 * 0.2
    direct = simulate(Motor(), duration_s=0.1, supply_v=mean_v)
    assert chopped.mean_rpm() == pytest.approx(direct.mean_rpm(), rel=0.02)
    assert np.ptp(chopped.current_a) > 2 * np.ptp(direct.current_a)


def test_every_named_fault_runs() -> None:
    for name in FAULTS:
        trace = simulate(Motor(bars=10, poles=4), duration_s=0.02, faults=name)
        assert np.all(np.isfinite(trace.current_a)), name
