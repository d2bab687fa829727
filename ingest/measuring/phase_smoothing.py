"""A smooth phase through noisy block phases, with an honest error.

Model: phase(t) = a + b t + c exp(-t/tau) + random walk + integrated random walk + noise. The random walks are
speed wander that is fast or slow beside a block; the exponential is what is left of a start, which the shaft
ends as any first-order system does. Sizes, tau and the noise are not chosen but averaged over, each weighted
by its marginal likelihood. (Gaussian-process regression with an explicit straight line: Rasmussen & Williams
2006, section 2.7; the integrated random walk gives the cubic smoothing spline: Wahba 1978.)
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg.lapack import dpotrf, dpotrs

# Variances per block, in units of the block noise variance: of the walk, and of the integrated walk.
WANDER = ((0, 0), (0.1, 0), (1, 0), (10, 0), (100, 0), (0, 1e-4), (0, 1e-2), (0, 1), (0, 100), (0, 1e4))
STEADY_ODDS = 2.0  # of no wander against all sizes of it
SETTLING_S = (0.004, 0.008, 0.016, 0.032, 0.064, 0.128)  # time constants of a shaft coming to speed
SETTLING_VARIANCES = np.array([1e1, 1e3, 1e5, 1e7])  # of c, in units of the block noise variance
SETTLED_ODDS = 2.0  # of no exponential against all sizes of it
# Where there is one, time constants about the likeliest are tried, in steps of 1/4, 1/16 ... of an octave, as
# long as few of them are likely: the larger the start beside the noise, the more exactly it is known.
SETTLES_ABOVE, FEW_WITHIN = 0.9, 1.0  # probability; steps (standard deviation)
FINER, FINEST = 4, 256  # steps to the octave
NEGLIGIBLE = 1e-4  # weight of a model that need not be evaluated


@dataclass(frozen=True)
class SmoothPhase:
    """phase, shape (m,), at the wanted times; slope and its standard error between first and last of them."""

    phase: np.ndarray
    slope: float
    slope_se: float


def smooth_phase(
    time: np.ndarray,
    phase: np.ndarray,
    variance: np.ndarray,
    wanted: np.ndarray,
    *,
    widths: np.ndarray | None = None,
    noise_known_within: float = 0.5,
    wander: bool = True,
) -> SmoothPhase:
    """Fit block phases (n,) with variances (n,) at times in s (n,); evaluate at `wanted` (m,), m >= 2.

    widths: lengths of the blocks in s (n,), over which phases are means. noise_known_within: log standard
    deviation of the variances' common factor.
    """
    blocks = _laid_out(time, phase, variance, wanted, widths, wander)
    tau_s = np.array(SETTLING_S if wander and len(time) >= 8 else ())
    to_octave = 1
    smooth, of_tau = _smoothed(blocks, tau_s, noise_known_within)
    while of_tau.sum() > SETTLES_ABOVE and to_octave < FINEST:
        place = np.arange(len(of_tau)) - np.argmax(of_tau)
        share = of_tau / of_tau.sum()
        middle = float(share @ place)
        if share @ (place - middle) ** 2 > FEW_WITHIN**2:
            break
        middle_s = tau_s[np.argmax(of_tau)] * 2.0 ** (middle / to_octave)
        to_octave *= FINER
        tau_s = middle_s * 2.0 ** (np.arange(-FINER, FINER + 1) / to_octave)
        smooth, of_tau = _smoothed(blocks, tau_s, noise_known_within)
    return smooth


@dataclass(frozen=True)
class _Blocks:
    """What no time constant changes: times t (n,) and wanted w (m,) in mean block lengths from the first
    wanted; half widths likewise; phases over `root`, the root of the usual variance.

    Of each of the sizes (s, 2): factor of the covariance (n, n) as LAPACK keeps it, half its log determinant,
    its inverse times straight line (s, n, 2), phases (s, n, 1) and covariances of the ends (s, n, 2).
    """

    t: np.ndarray
    w: np.ndarray
    step_s: float
    root: float
    half: np.ndarray | None
    phase: np.ndarray
    line: np.ndarray
    line_w: np.ndarray
    sizes: np.ndarray
    cross: np.ndarray
    ends: np.ndarray
    factors: tuple[np.ndarray, ...]
    half_log_det: np.ndarray
    on_line: np.ndarray
    on_phase: np.ndarray
    on_ends: np.ndarray
    spread: np.ndarray


def _laid_out(
    time: np.ndarray,
    phase: np.ndarray,
    variance: np.ndarray,
    wanted: np.ndarray,
    widths: np.ndarray | None,
    wander: bool,
) -> _Blocks:
    n = len(time)
    step = max(time[-1] - time[0], 1e-12) / max(n - 1, 1)
    t, w = (time - wanted[0]) / step + 1.0, (wanted - wanted[0]) / step + 1.0
    scale = float(np.median(variance))
    line, line_w = (np.column_stack([np.ones(len(x)), x - t.mean()]) for x in (t, w))
    sizes = np.array(WANDER if wander and n >= 4 else WANDER[:1], dtype=float)
    # All wander sizes at once: arrays begin with that axis, (s, ...).
    cross = _kernels(w, t)
    ends = _wandering(sizes, cross[:, [0, -1]])  # first and last wanted time with the blocks
    covariances = _wandering(sizes, _kernels(t, t))
    covariances[:, np.arange(n), np.arange(n)] += variance / scale
    scaled = phase / np.sqrt(scale)
    factors, half_log_det, solved = _solved(covariances, np.column_stack([line, scaled]), ends)
    on_line, on_phase, on_ends = solved[:, :, :2], solved[:, :, 2:3], solved[:, :, 3:]
    spread = _wandering(sizes, _kernels(w[[0, -1]], w[[0, -1]])) - ends @ on_ends
    return _Blocks(
        t, w, step, float(np.sqrt(scale)), None if widths is None else widths / step / 2, scaled, line,
        line_w, sizes, cross, ends, factors, half_log_det, on_line, on_phase, on_ends, spread,
    )  # fmt: skip


def _smoothed(
    blocks: _Blocks, tau_s: np.ndarray, noise_known_within: float
) -> tuple[SmoothPhase, np.ndarray]:
    """Smooth with time constants (k,), rising in equal ratios; also how probable each is, (k,)."""
    t, w, sizes, line, line_w = blocks.t, blocks.w, blocks.sizes, blocks.line, blocks.line_w
    on_line, ends, cross, n = blocks.on_line, blocks.ends, blocks.cross, len(blocks.t)
    tau = tau_s / blocks.step_s
    settling, settling_w = (np.exp(-(x[:, None] - 1.0) / tau) for x in (t, w))
    if blocks.half is not None:
        half = np.minimum(blocks.half[:, None] / tau, 50.0)
        settling = settling * np.sinh(half) / half
    columns = np.column_stack([blocks.phase, settling])
    right = np.asfortranarray(settling)
    on_settling = [dpotrs(factor, right, lower=1)[0] for factor in blocks.factors] if len(tau) else []
    on_columns = np.concatenate([blocks.on_phase, np.array(on_settling).reshape(len(sizes), n, -1)], axis=2)
    gram = line.T @ on_line
    beta = np.linalg.solve(gram, line.T @ on_columns)
    # Products of the columns after the straight line is taken out, weighted by the inverse covariance.
    product = columns.T @ on_columns - (columns.T @ on_line) @ beta

    # Models (s, m): no exponential, then one of each time constant and variance: one more regressor, with a
    # prior, which takes its part from chi-square and evidence (Schur complement).
    kinds = len(SETTLING_VARIANCES)
    precision = product.diagonal(axis1=1, axis2=2)[:, 1:, None] + 1 / SETTLING_VARIANCES
    precision = _beside_none(precision.reshape(len(sizes), -1), np.inf)
    with_phase = _beside_none(np.repeat(product[:, 1:, 0], kinds, axis=1), 0.0)
    left = np.maximum(product[:, :1, 0] - with_phase**2 / precision, 0.0)
    prior_n = 2 / noise_known_within**2  # inverse-gamma prior of the common noise factor, about 1
    freedom = max(n - 2, 1) + prior_n
    weights = -(blocks.half_log_det + 0.5 * np.linalg.slogdet(gram)[1])[:, None] - 0.5 * freedom * np.log(
        left + prior_n
    )
    weights[0] += np.log(STEADY_ODDS)
    weights[1:] -= np.log(max(len(sizes) - 1, 1))
    weights[:, 1:] -= 0.5 * np.log(np.tile(SETTLING_VARIANCES, len(tau)) * precision[:, 1:])
    weights[:, 1:] -= np.log(SETTLED_ODDS * max(len(tau) * kinds, 1))
    p = np.exp(weights - weights.max())
    p[p < NEGLIGIBLE * p.sum()] = 0.0
    p /= p.sum()

    # Fits at the wanted times without an exponential, (s, w, 1 + taus), then what one unit of each adds.
    rest = on_columns - on_line @ beta
    fits = line_w @ beta
    for i, (fast, slow) in enumerate(sizes):
        if fast:
            fits[i] += fast * (cross[0] @ rest[i])
        if slow:
            fits[i] += slow * (cross[1] @ rest[i])
    fits[:, :, 1:] = settling_w - fits[:, :, 1:]
    amounts = with_phase / precision
    shares = _beside_none(
        (p * amounts)[:, 1:].reshape(len(sizes), len(tau), kinds).sum(axis=2), p.sum(axis=1)
    )
    fit = np.einsum("swc,sc->w", fits, shares)

    gap = (w[-1] - w[0]) * blocks.step_s
    apart = fits[:, -1] - fits[:, 0]
    added = _beside_none(np.repeat(apart[:, 1:], kinds, axis=1), 0.0)
    slopes = (apart[:, :1] + amounts * added) / gap
    lack = line_w[[0, -1]] - ends @ on_line
    spread = blocks.spread + lack @ np.linalg.solve(gram, lack.transpose(0, 2, 1))
    ends_variance = np.maximum(spread[:, 0, 0] + spread[:, 1, 1] - 2 * spread[:, 0, 1], 0.0)
    s2 = (left + prior_n) / freedom
    variances = s2 * (ends_variance[:, None] + added**2 / precision) / gap**2
    slope = float(np.sum(p * slopes))
    slope_variance = float(np.sum(p * (variances + (slopes - slope) ** 2)))
    root = blocks.root
    smooth = SmoothPhase(root * fit, root * slope, root * float(np.sqrt(slope_variance)))
    return smooth, p[:, 1:].sum(axis=0).reshape(len(tau_s), kinds).sum(axis=1)


def _kernels(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """Covariances of a random walk and of an integrated one begun at 0, at times (a,) and (b,): (2, a, b)."""
    near, far = np.minimum.outer(a, b), np.maximum.outer(a, b)
    return np.stack([near, near**2 * (3 * far - near) / 6])


def _wandering(sizes: np.ndarray, kernels: np.ndarray) -> np.ndarray:
    """Covariances (s, a, b) of walks of sizes (s, 2) with kernels (2, a, b), most of which do without one."""
    out = np.zeros((len(sizes), *kernels.shape[1:]))
    for total, (fast, slow) in zip(out, sizes, strict=True):
        if fast:
            total += fast * kernels[0]
        if slow:
            total += slow * kernels[1]
    return out


def _solved(
    covariances: np.ndarray, columns: np.ndarray, ends: np.ndarray
) -> tuple[tuple[np.ndarray, ...], np.ndarray, np.ndarray]:
    """Factor of each covariance (s, n, n) as LAPACK keeps it, half its log determinant (s,), and its inverse
    times columns (n, c) and ends (s, 2, n), side by side: (s, n, c + 2)."""
    solved = np.empty((*covariances.shape[:2], columns.shape[1] + 2))
    right = np.asfortranarray(np.column_stack([columns, ends[0].T]))
    diagonals = np.empty(covariances.shape[:2])
    factors = []
    for i, covariance in enumerate(covariances):
        # Symmetric: its transpose is what LAPACK reads without a copy.
        factor, fault = dpotrf(covariance.T, lower=1, clean=0, overwrite_a=1)
        if fault:
            raise np.linalg.LinAlgError("the covariance of the block phases is not positive definite")
        diagonals[i] = factor.diagonal()
        right[:, -2:] = ends[i].T
        solved[i] = dpotrs(factor, right, lower=1)[0]
        factors.append(factor)
    return tuple(factors), np.log(diagonals).sum(axis=1), solved


def _beside_none(values: np.ndarray, none: np.ndarray | float) -> np.ndarray:
    """Put the column of the models without an exponential before those with one, (s, m)."""
    first = np.broadcast_to(none, len(values))
    return np.column_stack([first, values])
