"""Random intercept and slope for many groups, from each group's sums alone.

    y_ij = (beta_0k + b_0i) + (beta_1k + b_1i) x_ij + e_ij,   b_i ~ N(0, G),  e ~ N(0, s^2)
for group i of kind k: kinds have a line each and share G and s^2. With G = s^2 L L' and, for each group,
M = Z'Z, v = Z'y, Z = [1 x], A = I + L'ML (2 x 2):
    Z'V^-1 Z s^2 = M - M L A^-1 L' M,   Z'V^-1 y s^2 = v - M L A^-1 L' v,   ln|V| = n ln s^2 + ln|A|
so the profiled deviance (Bates et al. 2015, J. Stat. Software 67(1), eq. 33-42) needs no matrix of
observations, and 100,000 groups cost milliseconds an evaluation. Its slope, beta and s^2 standing at their
best, is that of ln|V|, of the rest R = s^2 (y - X beta)'V^-1 (y - X beta) and, for REML, of ln|F|: with
P = s^2 Z'V^-1 Z, h = s^2 Z'V^-1 (y - X beta) of each group and F the sum of P over each kind,
    S = sum P - (df / R) sum h h' - sum P F^-1 P (the last for REML alone),   d deviance / dL = 2 S L
from d ln|V| = tr(V^-1 dV) and d V^-1 = -V^-1 dV V^-1 (Lindstrom & Bates 1988). Predictions
b_i = G Z' V^-1 (y - X beta) (Henderson 1975).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import scipy  # its parts load when first used: ranking from a stored fit minimises nothing

KINDS_BELIEVED = 3.0  # kinds' worth of belief that kinds differ as their groups do
EM_ROUNDS = 100
# Noise taken to be there beside what is seen, as a share of the sd of all observations: else readings on
# exact lines would leave the likelihood without an end.
LEAST_NOISE = 1e-6


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


def fit_random_slope(sums: GroupSums, *, kind: np.ndarray | None = None, reml: bool = True) -> RandomSlope:
    """Fit by REML or ML. Raises ValueError when no group has two observations or all have too few, and
    numpy's LinAlgError when a kind's groups do not tell its line.

    kind: (g,) code of each group's kind, 0 to kinds - 1; None: one line for all.
    """
    if sums.n.max(initial=0) < 2 or sums.n.sum() <= 4:
        raise ValueError("A random slope needs groups with two or more observations.")
    # x in units of its spread: the optimiser then sees numbers near 1.
    scale = float(np.sqrt(sums.xx.sum() / sums.n.sum())) or 1.0
    unit = GroupSums(sums.n, sums.x / scale, sums.xx / scale**2, sums.y, sums.xy / scale, sums.yy)
    code = np.zeros(len(sums.n), int) if kind is None else kind
    total = float(sums.n.sum())

    def for_each(t: np.ndarray) -> tuple[float, np.ndarray]:
        # By observation, so that the optimiser's first step is of the right size.
        at = _profile(unit, code, t, reml)
        return at.deviance / total, at.slope / total

    found = scipy.optimize.minimize(
        for_each,
        np.array([1.0, 0.0, 0.5]),
        jac=True,
        method="BFGS",  # without bounds: L and L with a column's sign turned are the same G
        options={"gtol": 1e-8},
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
    slope: np.ndarray  # of the deviance in theta, (3,)
    beta: np.ndarray
    beta_cov: np.ndarray
    s2: float


def _profile(sums: GroupSums, kind: np.ndarray, theta: np.ndarray, reml: bool) -> _Profile:
    """Return the profiled deviance and what goes with it at relative factor `theta`, from sums alone."""
    kinds = int(kind.max()) + 1
    relative = _relative(theta)
    gain, told = _gain(sums, relative, 1.0), _information(sums, relative, 1.0)
    f, g = _by_kind(told, kind, kinds)
    det = f[:, 0, 0] * f[:, 1, 1] - f[:, 0, 1] ** 2
    if not (det > 0).all():
        raise np.linalg.LinAlgError("A kind's groups do not tell its line.")
    i0, i1, i2 = f[:, 1, 1] / det, -f[:, 0, 1] / det, f[:, 0, 0] / det  # of F^-1
    beta = np.column_stack([i0 * g[:, 0] + i1 * g[:, 1], i1 * g[:, 0] + i2 * g[:, 1]])
    yy = float(np.sum(sums.yy - _form(gain, sums.y, sums.xy)))
    total = float(sums.n.sum())
    rest = max(yy - float((beta * g).sum()), 0.0) + LEAST_NOISE**2 * float(sums.yy.sum()) + 1e-300
    df = total - 2 * kinds if reml else total
    s2 = rest / df
    deviance = float(np.log(gain.det).sum()) + df * (1 + np.log(2 * np.pi * s2))
    p0, p1, p2, w0, w1 = told
    b0, b1 = beta[0] if kinds == 1 else beta[kind].T
    h0, h1 = w0 - p0 * b0 - p1 * b1, w1 - p1 * b0 - p2 * b1
    s00 = p0.sum() - h0 @ h0 / s2
    s01 = p1.sum() - h0 @ h1 / s2
    s11 = p2.sum() - h1 @ h1 / s2
    if reml:
        deviance += float(np.log(det).sum())
        j0, j1, j2 = (i[0] if kinds == 1 else i[kind] for i in (i0, i1, i2))
        u0, u1 = p0 * j0 + p1 * j1, p0 * j1 + p1 * j2  # rows of P F^-1
        v0, v1 = p1 * j0 + p2 * j1, p1 * j1 + p2 * j2
        s00 -= u0 @ p0 + u1 @ p1
        s01 -= u0 @ p1 + u1 @ p2
        s11 -= v0 @ p1 + v1 @ p2
    a, b, c = theta
    slope = 2 * np.array([s00 * a + s01 * b, s01 * a + s11 * b, s11 * c])
    inverse = np.stack([i0, i1, i1, i2], -1).reshape(-1, 2, 2)
    return _Profile(deviance, slope, beta, s2 * inverse, s2)


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
    # Multiplied out, so that little is lost where G is large or singular.
    (g00, g01), (_, g11) = covariance
    det_g = max(g00 * g11 - g01 * g01, 0.0)
    n, x, xx, s2 = sums.n, sums.x, sums.xx, residual_var
    det = s2 * (s2 + n * g00 + 2 * x * g01 + xx * g11) + det_g * (n * xx - x * x)
    return Gain(
        (s2 * g00 + det_g * xx) / det, (s2 * g01 - det_g * x) / det, (s2 * g11 + det_g * n) / det, det
    )


def _form(gain: Gain, u: np.ndarray, v: np.ndarray) -> np.ndarray:
    return gain.c0 * u * u + 2 * gain.c1 * u * v + gain.c2 * v * v


class _Information(NamedTuple):
    """s^2 Z'V^-1 Z of every group (entries 00, 01 and 11) and s^2 Z'V^-1 y (0 and 1)."""

    p0: np.ndarray
    p1: np.ndarray
    p2: np.ndarray
    w0: np.ndarray
    w1: np.ndarray


def _information(sums: GroupSums, covariance: np.ndarray, residual_var: float) -> _Information:
    """Return (I + M G/s^2)^-1 times M and v, multiplied out as in `_gain`."""
    (g00, g01), (_, g11) = covariance / residual_var
    n, x, xx, y, xy = sums.n, sums.x, sums.xx, sums.y, sums.xy
    det_m = n * xx - x * x
    det = 1 + n * g00 + 2 * x * g01 + xx * g11 + max(g00 * g11 - g01 * g01, 0.0) * det_m
    e0, e1 = xx * y - x * xy, n * xy - x * y  # det_m times the group's own least-squares line
    return _Information(
        (n + g11 * det_m) / det,
        (x - g01 * det_m) / det,
        (xx + g00 * det_m) / det,
        (y + g11 * e0 - g01 * e1) / det,
        (xy + g00 * e1 - g01 * e0) / det,
    )


def _by_kind(told: _Information, kind: np.ndarray, kinds: int) -> tuple[np.ndarray, np.ndarray]:
    """Sum over each kind's groups: (kinds, 2, 2) and (kinds, 2)."""
    p0, p1, p2, w0, w1 = (
        np.array([value.sum()]) if kinds == 1 else np.bincount(kind, value, kinds) for value in told
    )
    return np.stack([p0, p1, p1, p2], -1).reshape(-1, 2, 2), np.column_stack([w0, w1])


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
    f, g = _by_kind(_information(sums, covariance, residual_var), kind, kinds)
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
