"""How drift bends and wanders, so that a line through the past is not quite today's.

Bend: what slopes of all pumps change alike with distance. Walk: beyond it a pump's slope is taken for a
random walk that gains the variance q per distance. A least-squares line through readings that span L then
misses level and slope at the last of them, beyond the errors of a straight line, by
    var(level) = q L^3/105,  cov(level, slope) = 11 q L^2/210,  var(slope) = 13 q L/35
(the weights of least squares on evenly spaced readings, applied to the integral of Brownian motion), and from
there on as Kalman 1960 has it: F P F' + q [d^3/3 d^2/2; d^2/2 d], F = [1 d; 0 1].
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from analytics.trend.first_passage import fit_lines

HALF = 3  # readings in each half, for a pump to tell how much slopes change
ENOUGH_PUMPS = 5
ROUNDS = 4
# Believed before any data (common practice, no source): over this many units of x (10,000 km) a pump's slope
# changes as much as slopes differ between pumps.
STEADY_FOR = 7.0


class Bending(NamedTuple):
    """bend: change of all slopes per unit of x; walk: variance that a slope gains per unit of x, as the data
    alone tell it, and its standard error."""

    bend: float
    walk: float
    walk_se: float

    def believed_walk(self, slope_var: float) -> float:
        """Return the walk (at least 0), drawn to what is usual for pumps whose slopes differ by `slope_var`.

        Mean of two normals weighed by precision: halves of short records tell little about it, and a walk
        taken for 0 where nothing is known would call slopes surer than they are.
        """
        usual = slope_var / STEADY_FOR
        if not np.isfinite(self.walk_se) or usual <= 0:
            return max(usual, 0.0)
        own, prior = 1 / self.walk_se**2, 1 / usual**2
        return max((own * self.walk + prior * usual) / (own + prior), 0.0)


def learn_bending(pump: np.ndarray, x: np.ndarray, y: np.ndarray, pumps: int) -> Bending:
    """Learn from lines through both halves of each pump's readings (in order of pump and x); 0, 0 and inf if
    too few.

    Halves that span L_1 and L_2, with G between and middles M apart:
        E (s_2 - s_1) = bend M,  var (s_2 - s_1) = s^2 (1/S_1 + 1/S_2) + q (13/35 (L_1 + L_2) + G),
    S the sum of squares of x about a half's mean. The bend is drawn to 0 as far as it may be chance.
    """
    count = np.bincount(pump, minlength=pumps)
    start = np.concatenate([[0], np.cumsum(count)])[:-1]
    half = 2 * pump + (np.arange(len(pump)) - start[pump] >= count[pump] // 2)
    lines = fit_lines(half, x, y, 2 * pumps)
    n = np.maximum(lines.n, 1)
    middle = np.bincount(half, x, 2 * pumps) / n
    size = np.bincount(half, (x - middle[half]) ** 2, 2 * pumps)
    who = np.flatnonzero((count >= 2 * HALF) & (size[::2] > 0) & (size[1::2] > 0))
    if len(who) < ENOUGH_PUMPS:
        return Bending(0.0, 0.0, np.inf)
    first, last, at = 2 * who, 2 * who + 1, start[who]
    cut, end = at + count[who] // 2, at + count[who] - 1
    room = 13 / 35 * (x[cut - 1] - x[at] + x[end] - x[cut]) + x[cut] - x[cut - 1]
    both = np.concatenate([first, last])
    free = lines.n[both] - 2
    s2 = float(free @ lines.residual_sd[both] ** 2 / free.sum())
    noise = s2 * (1 / size[first] + 1 / size[last])
    change, apart = lines.slope[last] - lines.slope[first], middle[last] - middle[first]
    bend = walk = walk_se = 0.0
    for _ in range(ROUNDS):
        weight = 1 / (noise + max(walk, 0.0) * room + 1e-300)
        precision = float(weight @ apart**2)
        bend = float(weight @ (apart * change)) / precision
        gain = (change - bend * apart) ** 2 - noise
        told = float(weight**2 @ room**2)
        walk, walk_se = float(weight**2 @ (room * gain)) / told, float(np.sqrt(2 / told))
    return Bending(bend * max(1 - 1 / max(bend**2 * precision, 1e-12), 0.0), walk, walk_se)


def missed_by_a_line(
    walk: float, span: np.ndarray | float, gap: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return what the walk adds to var(level), cov and var(slope) `gap` beyond readings that span `span`."""
    v, c, w = walk * span**3 / 105, 11 / 210 * walk * span**2, 13 / 35 * walk * span
    return v + gap * (2 * c + gap * w) + walk * gap**3 / 3, c + gap * w + walk * gap**2 / 2, w + walk * gap
