"""Random intercept and slope for many groups, from each group's sums alone.

    y_ij = (beta_0k + b_0i) + (beta_1k + b_1i) x_ij + e_ij,   b_i ~ N(0, G),  e ~ N(0, s^2)
for group i of kind k: kinds have a line each and share G and s^2. With G = s^2 L L' and, for each group,
M = Z'Z, v = Z'y, Z = [1 x], A = I + L'ML (2 x 2):
    Z'V^-1 Z s^2 = M - M L A^-1 L' M,   Z'V^-1 y s^2 = v - M L A^-1 L' v,   ln|V| = n ln s^2 + ln|A|
so the profiled deviance (Bates et al. 2015, J. Stat. Software 67(1), eq. 33-42) needs no matrix of
observations, and 100,000 groups cost milliseconds an evaluation. Predictions b_i = G Z' V^-1 (y - X beta)
(Henderson 1975).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from scipy.optimize import minimize

KINDS_BELIEVED = 3.0  # kinds' worth of belief that kinds differ as their groups do
EM_ROUNDS = 100


@dataclass(frozen=True)
class GroupSums:
    """Sums per group, (g,) each: n, x, xx, y, xy, yy; x and y are measured from `x_0` and `y_0`."""

    n: np.ndarray
    x: np.ndarray
    xx: np.ndarray
    y: np.ndarray
    xy: np.ndarray
    yy: np.ndarray
    x_0: float = 0.0
    y_0: float = 0.0

    def take(self, rows: np.ndarray | slice) -> GroupSums:
        """Return the sums of `rows`."""
        n, x, xx, y, xy, yy = (a[rows] for a in (self.n, self.x, self.xx, self.y, self.xy, self.yy))
        return GroupSums(n, x, xx, y, xy, yy, self.x_0, self.y_0)


@dataclass(frozen=True)
class RandomSlope:
    """A fitted model. beta (2,), beta_se (2,) and beta_cov (2, 2), each (kinds, ...) where kinds were given;
    covariance (2, 2) of intercept and slope, residual_var, deviance (-2 log-likelihood, restricted for REML),
    blup (g, 2) and blup_cov (g, 2, 2) given beta."""

    beta: np.ndarray
    beta_se: np.ndarray
    beta_cov: np.ndarray
    covariance: np.ndarray
    residual_var: float
    deviance: float
    blup: np.ndarray
    blup_cov: np.ndarray
    reml: bool


def group_sums(
    group: np.ndarray, x: np.ndarray, y: np.ndarray, groups: int, centre: tuple[float, float] | None = None
) -> GroupSums:
    """Sum observations by group code (0 to groups - 1); centred first, so that no digits are lost."""
    if centre is None:  # a metric that no visit has leaves nothing to centre
        centre = (float(np.mean(x)), float(np.mean(y))) if len(x) else (0.0, 0.0)
    x_0, y_0 = centre
    x, y = x - x_0, y - y_0
    n, sx, sxx, sy, sxy, syy = (
        np.bincount(group, w, groups) for w in (np.ones_like(x), x, x * x, y, x * y, y * y)
    )
    return GroupSums(n, sx, sxx, sy, sxy, syy, x_0, y_0)


def fit_random_slope(
    sums: GroupSums, *, kind: np.ndarray | None = None, reml: bool = True, sample: np.ndarray | None = None
) -> RandomSlope:
    """Fit by REML or ML. Raises ValueError when no group has two observations or more than its parameters.

    kind: (g,) code of each group's kind, 0 to kinds - 1; None: one line for all. sample: the groups from
    which the variances are learned (default all); lines and predictions are of all groups.
    """
    if sums.n.max(initial=0) < 2 or sums.n.sum() <= 4:
        raise ValueError("A random slope needs groups with two or more observations.")
    # x in units of its spread: the optimiser then sees numbers near 1.
    scale = float(np.sqrt(sums.xx.sum() / sums.n.sum())) or 1.0
    unit = GroupSums(sums.n, sums.x / scale, sums.xx / scale**2, sums.y, sums.xy / scale, sums.yy)
    code = np.zeros(len(sums.n), int) if kind is None else kind
    learn = slice(None) if sample is None else sample
    some, code_of_some = unit.take(learn), code[learn]
    theta = np.array([1.0, 0.0, 0.5])

    def deviance_at(t: np.ndarray) -> float:
        return _profile(some, code_of_some, t, reml).deviance

    for eps in (1e-5, 1e-7):  # coarse steps first: a fresh start with fine ones takes the last digits
        found = minimize(
            deviance_at,
            theta,
            method="L-BFGS-B",
            bounds=[(0, None), (None, None), (0, None)],
            options={"ftol": 1e-15, "gtol": 1e-7, "eps": eps},
        )
        theta = found.x
    made = _profile(unit, code, theta, reml)
    covariance = _relative(theta) * made.s2
    blup, blup_cov = predict(unit, made.beta[code], covariance, made.s2)
    # Back to the caller's x and y: intercept at x = 0.
    to = np.array([[1.0, -sums.x_0 / scale], [0.0, 1.0 / scale]])
    beta = made.beta @ to.T + np.array([sums.y_0, 0.0])
    beta_cov = to @ made.beta_cov @ to.T
    beta_se = np.sqrt(np.diagonal(beta_cov, axis1=1, axis2=2))
    only = 0 if kind is None else slice(None)
    return RandomSlope(
        beta[only],
        beta_se[only],
        beta_cov[only],
        to @ covariance @ to.T,
        made.s2,
        # The density of y does not change, but REML's |X'V^-1X| depends on the scale of x.
        made.deviance + (2 * len(beta) * np.log(scale) if reml else 0.0),
        blup @ to.T,
        to @ blup_cov @ to.T,
        reml,
    )


class _Profile(NamedTuple):
    deviance: float
    beta: np.ndarray
    beta_cov: np.ndarray
    s2: float


def _profile(sums: GroupSums, kind: np.ndarray, theta: np.ndarray, reml: bool) -> _Profile:
    """Return the profiled deviance and what goes with it at relative factor `theta`, from sums alone."""
    gain = _gain(sums, _relative(theta), 1.0)
    f, g = line_information(sums, kind, int(kind.max()) + 1, gain)
    yy = float(np.sum(sums.yy - _form(gain, sums.y, sums.xy)))
    beta = np.linalg.solve(f, g[..., None])[..., 0]
    rest = max(yy - float((beta * g).sum()), 1e-300)
    total = float(sums.n.sum())
    df = total - 2 * len(f) if reml else total
    s2 = rest / df
    deviance = float(np.log(gain.det).sum()) + df * (1 + np.log(2 * np.pi * s2))
    if reml:
        deviance += float(np.linalg.slogdet(f)[1].sum())
    return _Profile(deviance, beta, s2 * np.linalg.inv(f), s2)


def _relative(theta: np.ndarray) -> np.ndarray:
    factor = np.array([[theta[0], 0.0], [theta[1], theta[2]]])
    return factor @ factor.T


class Gain(NamedTuple):
    """C = G (s^2 I + M G)^-1 of every group: entries 00, 01 and 11 (it is symmetric), and the determinant."""

    c0: np.ndarray
    c1: np.ndarray
    c2: np.ndarray
    det: np.ndarray


def _gain(sums: GroupSums, covariance: np.ndarray, residual_var: float) -> Gain:
    (g00, g01), (_, g11) = covariance
    n, x, xx = sums.n, sums.x, sums.xx
    a, b = residual_var + n * g00 + x * g01, n * g01 + x * g11
    c, d = x * g00 + xx * g01, residual_var + x * g01 + xx * g11
    det = a * d - b * c
    return Gain((g00 * d - g01 * c) / det, (g01 * a - g00 * b) / det, (g11 * a - g01 * b) / det, det)


def _form(gain: Gain, u: np.ndarray, v: np.ndarray) -> np.ndarray:
    return gain.c0 * u * u + 2 * gain.c1 * u * v + gain.c2 * v * v


def line_information(
    sums: GroupSums, kind: np.ndarray, kinds: int, gain: Gain
) -> tuple[np.ndarray, np.ndarray]:
    """Return s^2 Z'V^-1 Z (kinds, 2, 2) and s^2 Z'V^-1 y (kinds, 2), summed over each kind's groups."""
    n, x, xx, y, xy = sums.n, sums.x, sums.xx, sums.y, sums.xy
    c0, c1, c2, _ = gain
    p0, p1 = c0 * n + c1 * x, c1 * n + c2 * x  # C M, first column
    q0, q1 = c0 * x + c1 * xx, c1 * x + c2 * xx  # second column

    def by_kind(value: np.ndarray) -> np.ndarray:
        return np.array([value.sum()]) if kinds == 1 else np.bincount(kind, value, kinds)

    f = np.empty((kinds, 2, 2))
    f[:, 0, 0] = by_kind(n - n * p0 - x * p1)
    f[:, 0, 1] = f[:, 1, 0] = by_kind(x - n * q0 - x * q1)
    f[:, 1, 1] = by_kind(xx - x * q0 - xx * q1)
    return f, np.column_stack([by_kind(y - p0 * y - p1 * xy), by_kind(xy - q0 * y - q1 * xy)])


def predict(
    sums: GroupSums, beta: np.ndarray, covariance: np.ndarray, residual_var: float
) -> tuple[np.ndarray, np.ndarray]:
    """Return each group's own intercept and slope beyond `beta` (g, 2), and their covariance (g, 2, 2).

    b = C (v - M beta), var(b | beta) = s^2 C; x and y of `sums` are those of beta.
    """
    gain = _gain(sums, covariance, residual_var)
    r0 = sums.y - sums.n * beta[:, 0] - sums.x * beta[:, 1]
    r1 = sums.xy - sums.x * beta[:, 0] - sums.xx * beta[:, 1]
    cov = np.empty((len(sums.n), 2, 2))
    cov[:, 0, 0], cov[:, 1, 1] = residual_var * gain.c0, residual_var * gain.c2
    cov[:, 0, 1] = cov[:, 1, 0] = residual_var * gain.c1
    return np.column_stack([gain.c0 * r0 + gain.c1 * r1, gain.c1 * r0 + gain.c2 * r1]), cov


def shrunk_lines(
    sums: GroupSums, kind: np.ndarray, kinds: int, covariance: np.ndarray, residual_var: float
) -> tuple[np.ndarray, np.ndarray]:
    """Return each kind's line (kinds + 1, 2) and its covariance, drawn to the others'; last: an unseen kind.

    beta_k ~ N(mu, B), mu and B by EM (Dempster, Laird & Rubin 1977) from each kind's information; kinds are
    believed to differ as groups of one kind do, with the weight of KINDS_BELIEVED kinds.
    """
    f, g = line_information(sums, kind, kinds, _gain(sums, covariance, residual_var))
    precision, pull = f / residual_var, g / residual_var
    seen = np.bincount(kind, sums.n, kinds) > 0
    belief = covariance + np.diag([1e-12, 1e-12])
    between, mean = belief, np.zeros(2)
    for _ in range(EM_ROUNDS):
        inverse = np.linalg.inv(between)
        spread = np.linalg.inv(precision + inverse)
        lines = (spread @ (pull + inverse @ mean)[..., None])[..., 0]
        mean = lines[seen].mean(0)
        away = lines[seen] - mean
        scatter = (spread[seen] + away[:, :, None] * away[:, None, :]).sum(0)
        between = (KINDS_BELIEVED * belief + scatter) / (KINDS_BELIEVED + seen.sum())
    unseen = between * (1 + 1 / max(seen.sum(), 1))
    return np.vstack([lines, mean]), np.concatenate([spread, unseen[None]])
