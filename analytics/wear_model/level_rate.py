"""One Kalman filter for many pumps at once: own level b, damage w growing at rate s, one noisy sum observed.

    t -> t + h:   w += h s;  s random walk with variance q h          (integrated random walk)
    observed:     y = b + w + e,  e ~ (1 - bad) N(0, r) + bad N(0, BAD r)
Both noise variants are weighed by their likelihood and merged by matching moments, so that a wild reading
moves the estimate little. Kalman 1960; merging after Harrison & Stevens 1976. Arrays are (n,) over pumps, or
(sets, n) where several sets of parameters are tried side by side.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

BAD = 40.0  # variance of a wild reading over that of a good one
LOG_2PI = float(np.log(2 * np.pi))
Value = float | np.ndarray  # one parameter, or a column (sets, 1) of them


class LevelRate(NamedTuple):
    """Means and covariances of (b, w, s), each (n,) or (sets, n)."""

    b: np.ndarray
    w: np.ndarray
    s: np.ndarray
    bb: np.ndarray
    bw: np.ndarray
    bs: np.ndarray
    ww: np.ndarray
    ws: np.ndarray
    ss: np.ndarray


def stacked(states: list[LevelRate], shape: tuple[int, ...]) -> LevelRate:
    """Return several states as one with a first axis of them, each array of `shape`: a filter goes through
    them in one go, since few pumps cost numpy more calls than sums."""

    def stack(parts: tuple[np.ndarray, ...]) -> np.ndarray:
        out = np.empty((len(parts), *shape))
        for k, part in enumerate(parts):
            out[k] = part
        return out

    return LevelRate(*(stack(parts) for parts in zip(*states, strict=True)))


def parted(state: LevelRate) -> list[LevelRate]:
    """Return the states that `stacked` put together."""
    return [LevelRate(*(a[k] for a in state)) for k in range(len(state.b))]


def predict(state: LevelRate, h: np.ndarray, q: Value) -> LevelRate:
    """Move on by `h`."""
    b, w, s, bb, bw, bs, ww, ws, ss = state
    walk = q * h
    return LevelRate(
        b, w + h * s, s, bb, bw + h * bs, bs,
        ww + h * (2 * ws + h * ss) + walk * h * h / 3,
        ws + h * ss + walk * h / 2,
        ss + walk,
    )  # fmt: skip


def weigh(
    e: np.ndarray, spread: np.ndarray, r: Value, bad: Value
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Weigh the good and the wild variant of a reading that misses its forecast by `e`.

    spread: variance of the forecast; r: of a good reading. Returns the log-likelihood without the normal's
    constant, the chance that it was wild, and the mean of 1/v and of 1/v^2 over both variants.
    """
    good, wild = 1 / (spread + r), 1 / (spread + BAD * r)
    e2 = e * e
    # Natural log of how much likelier the wild variant is; the logarithms of both variances are one's ratio.
    odds = (np.log(bad) - np.log1p(-bad)) + 0.5 * (np.log(wild / good) + e2 * (good - wild))
    far = np.exp(-np.abs(odds))
    total = np.maximum(odds, 0.0)
    total += np.log(1 + far)
    total += np.log1p(-bad) + 0.5 * (np.log(good) - e2 * good)
    p_bad = np.where(odds > 0, 1.0, far)
    p_bad /= 1 + far
    gain = good + p_bad * (wild - good)
    return total, p_bad, gain, good * good + p_bad * (wild * wild - good * good)


def update(
    state: LevelRate, y: np.ndarray, r: Value, bad: Value, *, level: float = 1.0, blur: Value = 0.0
) -> tuple[LevelRate, np.ndarray, np.ndarray]:
    """Take in readings `y`; return the new state, log-likelihood and the chance that each was wild.

    Where y is NaN nothing changes and the log-likelihood is 0. level: 0 where y shows the damage without the
    pump's own level; blur: variance that good and wild readings share.
    """
    b, w, s, bb, bw, bs, ww, ws, ss = state
    g_b, g_w, g_s = level * bb + bw, level * bw + ww, level * bs + ws
    seen = ~np.isnan(y)
    e = where_seen(seen, y - level * b - w)
    total, p_bad, gain, second = weigh(e, level * g_b + g_w + blur, r, bad)
    shrink, move = where_seen(seen, gain - e * e * (second - gain * gain)), where_seen(seen, gain * e)
    shrink_b, shrink_w = g_b * shrink, g_w * shrink
    new = LevelRate(
        b + g_b * move, w + g_w * move, s + g_s * move,
        bb - g_b * shrink_b, bw - g_w * shrink_b, bs - g_s * shrink_b,
        ww - g_w * shrink_w, ws - g_s * shrink_w, ss - g_s * g_s * shrink,
    )  # fmt: skip
    return new, where_seen(seen, total - 0.5 * LOG_2PI), where_seen(seen, p_bad)


def where_seen(seen: np.ndarray, value: np.ndarray) -> np.ndarray:
    """Return `value` (..., n), 0 where nothing was seen, (n,) bool."""
    return value if seen.all() else np.where(seen, value, 0.0)


def merge(first: LevelRate, second: LevelRate, weight: np.ndarray) -> LevelRate:
    """Return the one normal with the moments of the mixture weight * first + (1 - weight) * second."""
    k = weight
    j = 1 - k
    d_b, d_w, d_s = first.b - second.b, first.w - second.w, first.s - second.s
    kj = k * j
    return LevelRate(
        k * first.b + j * second.b,
        k * first.w + j * second.w,
        k * first.s + j * second.s,
        k * first.bb + j * second.bb + kj * d_b * d_b,
        k * first.bw + j * second.bw + kj * d_b * d_w,
        k * first.bs + j * second.bs + kj * d_b * d_s,
        k * first.ww + j * second.ww + kj * d_w * d_w,
        k * first.ws + j * second.ws + kj * d_w * d_s,
        k * first.ss + j * second.ss + kj * d_s * d_s,
    )
