"""The ripple's height is unbiased, and its standard error holds, with noise, codes and few samples a turn."""

import numpy as np
import pytest

from ingest.measuring.ripple_height import ripple_height

TURN_HZ = 93.7


def wave(turns):
    """Eight unlike humps with an edge each, as through a clamp of 10 kHz."""
    place = (8 * turns) % 1
    edge = np.exp(-6 * place) * (1 - np.exp(-place / 0.012))
    return 0.4 * edge * (1 + 0.2 * np.cos(2 * np.pi * 2 * turns + 1)) + 0.05 * np.cos(2 * np.pi * 8 * turns)


def errors(rate_hz, turns, noise_a, step_a, count=40):
    """Errors over their claimed standard errors, and relative, of `count` records."""
    fine = wave(np.arange(20_000) / 20_000)
    height = np.ptp(fine)
    z, relative = [], []
    for seed in range(count):
        rng = np.random.default_rng(seed)
        angle = TURN_HZ * np.arange(round(turns / TURN_HZ * rate_hz)) / rate_hz + rng.random()
        current = wave(angle) + 4 + noise_a * rng.standard_normal(len(angle)) + step_a * rng.random()
        if step_a:
            current = np.round(current / step_a) * step_a
        found, se = ripple_height(current - current.mean(), angle, step_a)
        z.append((found - height) / se)
        relative.append(found / height - 1)
    return np.abs(z), np.array(relative)


@pytest.mark.parametrize(
    ("rate_hz", "turns", "noise_a", "step_a"),
    [
        (200_000, 20, 0.02, 0.0),
        (200_000, 4, 0.02, 0.0),
        (100_000, 12, 0.06, 0.0),
        (30_000, 20, 0.02, 0.0),
        (200_000, 15, 0.005, 0.06),
    ],
)
def test_height_and_error_hold(rate_hz, turns, noise_a, step_a):
    z, relative = errors(rate_hz, turns, noise_a, step_a)
    assert abs(relative.mean()) < 0.03
    assert 0.35 < np.mean(z < 1) < 0.97
    assert np.mean(z < 2) > 0.8


@pytest.mark.parametrize("rate_hz", [16_000, 20_000])
def test_an_edge_sharper_than_the_sampling_is_in_the_error(rate_hz):
    z, relative = errors(rate_hz, 30, 0.01, 0.0, count=12)
    assert abs(relative.mean()) < 0.03
    assert np.mean(z < 2) > 0.8


def test_without_noise_the_height_is_the_waves():
    angle = np.arange(20_000) / 1000
    current = 0.3 * np.cos(2 * np.pi * 8 * angle)
    height, se = ripple_height(current, angle, 0.0)
    assert height == pytest.approx(0.6, rel=1e-3)
    assert se < 0.01


def test_noise_alone_has_next_to_no_height():
    rng = np.random.default_rng(4)
    angle = np.arange(40_000) / 2000
    height, se = ripple_height(0.1 * rng.standard_normal(len(angle)), angle, 0.0)
    assert height < 5 * se < 0.05
