"""Speed against bounds and references outside the project."""

import os
from pathlib import Path

import numpy as np
import pytest

from ingest.measurement import measure
from ingest.phase_smoothing import smooth_phase
from ingest.reader import read_capture
from ingest.speed_refine import refine

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


@pytest.mark.skipif(not SHARED.is_dir(), reason="the shared captures are not here")
@pytest.mark.parametrize(
    ("name", "channel", "turn_hz"),
    [
        # Truth from the shaft tacho in the same files, or from the ratio of lines: MANIFEST.tsv there.
        ("mot_dc_universal_10V_tacho.mat", "strom", 19.60),
        ("mot_dc_universal_30V_tacho.mat", "strom", 94.41),
        ("mot_dc_universal_good_ac.mat", None, 39.67),
        ("mot_dc_universal_badbar_ac.mat", None, 30.63),
    ],
)
def test_real_motors(name, channel, turn_hz):
    reading = measure(read_capture(SHARED / name, channel=channel, sample_rate_hz="100 kS/s"))
    assert reading.mean_a is None  # AC-coupled
    speeds = [reading.rpm] if reading.rpm else [c.rpm for c in reading.speed_candidates]
    assert any(abs(rpm / 60 / turn_hz - 1) < 0.01 for rpm in speeds)


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
