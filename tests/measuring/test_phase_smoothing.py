"""The smoothed phase's mean speed lies as far off as its standard error says, steady or after a start."""

import numpy as np
import pytest

from ingest.measuring.phase_smoothing import smooth_phase

BLOCK_S, BLOCKS, NOISE = 0.009, 60, 3e-5  # turns


def errors(amplitude, tau_s, seeds=range(60)):
    """Departures of the mean speed from the truth in standard errors, (seeds,)."""
    edges = np.arange(BLOCKS + 1) * BLOCK_S
    middles, width = (edges[1:] + edges[:-1]) / 2, np.full(BLOCKS, BLOCK_S)
    wanted = np.concatenate([[0.0], middles, [edges[-1]]])
    # Block means of amplitude * exp(-t / tau).
    means = -amplitude * tau_s * np.diff(np.exp(-edges / tau_s)) / BLOCK_S
    truth = amplitude * (np.exp(-edges[-1] / tau_s) - 1) / edges[-1]
    out = []
    for seed in seeds:
        noise = NOISE * np.random.default_rng((3, seed)).standard_normal(BLOCKS)
        smooth = smooth_phase(middles, means + noise, np.full(BLOCKS, NOISE**2), wanted, widths=width)
        out.append((smooth.slope - truth) / smooth.slope_se)
    return np.array(out)


@pytest.mark.parametrize(("amplitude", "tau_s"), [(0.0, 0.02), (5e-3, 0.012), (5e-3, 0.023), (2e-2, 0.045)])
def test_two_thirds_and_nineteen_of_twenty_lie_inside_one_and_two_standard_errors(amplitude, tau_s):
    z = np.abs(errors(amplitude, tau_s))
    assert np.mean(z < 1) > 0.55
    assert np.mean(z < 2) > 0.87
    assert np.mean(z < 1) < 0.85  # nor are they too large
