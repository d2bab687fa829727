"""Speed against bounds and references outside the project."""

import os
from pathlib import Path

import numpy as np
import pytest

from ingest.capture import Capture
from ingest.known_pump import KnownPump
from ingest.measuring.measurement import measure
from ingest.measuring.phase_smoothing import smooth_phase
from ingest.measuring.speed_answer import FIRING_HZ
from ingest.measuring.speed_refine import refine
from ingest.readers.capture_file import read_capture

SHARED = Path(os.environ.get("PUMPLEDGER_SHARED", Path(__file__).parents[2] / "../shared")) / "captures"

# Harmonic-sum bound, Nehorai & Porat 1986, from memory, checked there against the numerical Fisher matrix:
# fundamental 50 Hz, amplitudes (.2, .05, .4, .1), N = 2000 at 10 kHz, sigma .5: sd 0.0339320 Hz.
AMPLITUDES, BOUND_HZ = (0.2, 0.05, 0.4, 0.1), 0.0339320


def test_the_bound_itself():
    # var(omega) = 24 sigma^2 / (sum k^2 A_k^2 N (N^2 - 1)), rad^2/sample^2 (Kay 1993)
    n, weight = 2000, sum((k * a) ** 2 for k, a in enumerate(AMPLITUDES, 1))
    assert weight == pytest.approx(1.65)
    sd = np.sqrt(24 * 0.25 / (weight * n * (n**2 - 1))) * 10_000 / (2 * np.pi)
    assert sd == pytest.approx(BOUND_HZ, rel=1e-5)


def test_refinement_comes_near_the_bound():
    n, rate, errors, claimed = 2000, 10_000.0, [], []
    t = np.arange(n) / rate
    for seed in range(60):
        rng = np.random.default_rng(seed)
        y = 0.5 * rng.standard_normal(n)
        for k, a in enumerate(AMPLITUDES, 1):
            y += a * np.cos(2 * np.pi * k * 50.0 * t + k)
        phase = refine(y, rate, np.array([0.0, t[-1]]), np.array([0.0, 50.05 * t[-1]]), 5)
        errors.append(phase.turn_hz - 50.0)
        claimed.append(phase.turn_hz_se)
    assert np.sqrt(np.mean(np.square(errors))) < 1.35 * BOUND_HZ
    assert np.mean(np.abs(errors) < np.array(claimed)) > 0.5


def test_a_straight_phase_has_the_least_squares_error():
    # Textbook variance of a slope: sigma^2 / sum (t - mean)^2.
    t = np.linspace(0, 1, 40)
    fit = smooth_phase(t, 3 * t + 1, np.full(40, 1e-4), t, wander=False, noise_known_within=1e-3)
    assert fit.slope == pytest.approx(3)
    assert fit.slope_se == pytest.approx(0.01 / np.sqrt(np.sum((t - t.mean()) ** 2)), rel=1e-3)


# Truth from the shaft tacho in the same files, or from the ratio of lines; MANIFEST.tsv there gives it to a
# last digit of 0.01 turns a second, so that half of it and a little drift are the tolerance.
TACHO = {
    "mot_dc_universal_10V_tacho.mat": ("strom", 19.60),
    "mot_dc_universal_30V_tacho.mat": ("strom", 94.41),
    "mot_dc_universal_good_ac.mat": (None, 39.67),
    "mot_dc_universal_badbar_ac.mat": (None, 30.63),
}
SLOWER_THAN_PUMPS = "mot_dc_universal_10V_tacho.mat"  # 1,176 rpm


def real_motor(name):
    channel, turn_hz = TACHO[name]
    return read_capture(SHARED / name, channel=channel, sample_rate_hz="100 kS/s"), turn_hz


@pytest.mark.skipif(not SHARED.is_dir(), reason="the shared captures are not here")
@pytest.mark.parametrize("name", [n for n in TACHO if n != SLOWER_THAN_PUMPS])
@pytest.mark.parametrize("known", [{}, {"segments": 36}, {"segments": 18}])
def test_real_motors(name, known):
    capture, turn_hz = real_motor(name)
    reading = measure(capture, KnownPump(**known))
    assert reading.mean_a is None  # AC-coupled
    if not known and 2 * turn_hz < FIRING_HZ[1]:  # what tells the turn may be an engine
        assert reading.rpm is None
        assert "engine-suspected" in [note.code for note in reading.notes]
        assert reading.speed_candidates[0].rpm / 60 == pytest.approx(turn_hz, abs=0.015)
        reading = measure(capture, KnownPump(previous_rpm=1.05 * 60 * turn_hz))
    assert reading.rpm / 60 == pytest.approx(turn_hz, abs=0.015)
    assert reading.speed_confidence > 0.95


@pytest.mark.skipif(not SHARED.is_dir(), reason="the shared captures are not here")
def test_a_motor_slower_than_pumps_is_answered_once_its_speed_is_known():
    capture, turn_hz = real_motor(SLOWER_THAN_PUMPS)
    first = measure(capture)
    assert first.rpm is None
    assert [c.rpm / 60 for c in first.speed_candidates] == pytest.approx([turn_hz], abs=0.015)
    again = measure(capture, KnownPump(previous_rpm=1.05 * 60 * turn_hz))
    assert again.rpm / 60 == pytest.approx(turn_hz, abs=0.015)


@pytest.mark.skipif(not SHARED.is_dir(), reason="the shared captures are not here")
def test_a_bad_bar_shows_twice_a_turn():
    # The source states a commutator-bar fault in one of the two; it dips twice a turn, half a turn apart.
    share = {}
    for name in ("mot_dc_universal_good_ac.mat", "mot_dc_universal_badbar_ac.mat"):
        capture, _ = real_motor(name)
        lifted = capture.current_a + 5 * np.ptp(capture.current_a)  # any mean: only ratios are looked at
        reading = measure(Capture(lifted, capture.sample_rate_hz), KnownPump(segments=36, rpm_low=500))
        share[name] = 2 * reading.twice_per_turn_pct / reading.ripple_pct
        once = 2 * reading.once_per_turn_pct / reading.ripple_pct
    good, bad = share.values()
    assert bad > 2 * good
    assert bad > 10 * once


@pytest.mark.skipif(not SHARED.is_dir(), reason="the shared captures are not here")
@pytest.mark.parametrize(
    ("name", "options"),
    [
        ("mot_dc_small_pwm_tacho_dt.csv", {}),  # 1,818 Hz is a folded 20 kHz drive
        (
            "mot_dc_shunt_machine_3ch_idxcol.csv",
            {"channel": "ch 02", "probe": "10.111 mV/A"},
        ),  # rectified mains
        ("mot_startup_flywheel_ch1_amps.csv", {}),
    ],
)
def test_real_records_without_commutation_have_no_speed(name, options):
    assert measure(read_capture(SHARED / name, **options)).rpm is None


def test_the_error_stated_at_the_bound_is_the_error_made():
    """The fit's own standard error against the Cramer-Rao bound of the same harmonics, and the misses."""
    n, rate, z, claimed = 2000, 10_000.0, [], []
    t = np.arange(n) / rate
    for seed in range(60):
        rng = np.random.default_rng(100 + seed)
        y = 0.5 * rng.standard_normal(n)
        for k, a in enumerate(AMPLITUDES, 1):
            y += a * np.cos(2 * np.pi * k * 50.0 * t + k)
        phase = refine(y, rate, np.array([0.0, t[-1]]), np.array([0.0, 50.05 * t[-1]]), 5)
        z.append((phase.turn_hz - 50.0) / phase.turn_hz_se)
        claimed.append(phase.turn_hz_se)
    # No unbiased estimate is better than the bound; wander that the model allows for costs up to some 2 x.
    assert np.median(claimed) > 0.95 * BOUND_HZ
    assert np.median(claimed) < 2.5 * BOUND_HZ
    assert np.sqrt(np.mean(np.square(z))) < 1.25
