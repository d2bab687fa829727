"""Chance of failing on the road: wear, drag and sudden failure, from what the filters know at the last visit.

From the last visit at x to a distance d beyond it
    S(d) = S_wear(d) * [(1 - pi) exp(-H(d)) + pi * S_drag(d)] * exp(-lambda d)
    S_u(d) = Phi((theta - m(d)) / sqrt(v(d) + sigma^2)) / Phi((theta - m(0)) / sqrt(v(0) + sigma^2)),  in
    [0, 1] H(d) = integral over starts t in (x, x + d) of P(drag reaches its level within x + d - t) dL(t)
theta, sigma: mean and spread of the failure levels, learned from this fleet. Given survival to the as-of
date at d_0, risk over a further d is 1 - S(d_0 + d)/S(d_0). A part in points is risk * its share of -ln S.
Sources: Lu & Meeker 1993 (crossing of a random path), Christer & Waller 1984 (delay time H).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from scipy.special import log_ndtr, ndtr

from analytics.wear_model import drag as drag_model
from analytics.wear_model import wear as wear_model
from analytics.wear_model.damages import new_pumps
from analytics.wear_model.drag import DragParameters, DragState
from analytics.wear_model.level_rate import LevelRate, Value
from analytics.wear_model.tracks import take
from analytics.wear_model.wear import WearParameters

X_GRID = np.linspace(0.0, 1.0, 41) ** 1.5 * 900e3
D_GRID = np.linspace(0.0, 1.0, 61) ** 2 * 900e3
NODES, WEIGHTS = np.polynomial.legendre.leggauss(12)


@dataclass(frozen=True)
class FailureParameters:
    """Failure levels in the filters' units; `wear_level`, `sudden_per_km`, `wear_factor`, `drag_factor` by
    pump type, (types,), or (sets, types) and columns (sets, 1) while learning."""

    wear_level: np.ndarray
    wear_level_sd: np.ndarray
    drag_level: Value
    drag_level_sd: Value
    sudden_per_km: np.ndarray
    wear_factor: np.ndarray
    drag_factor: np.ndarray


class Known(NamedTuple):
    """What is known of each pump at its last visit, at x_km on its clock. All (n,) or states of n."""

    x_km: np.ndarray
    type_code: np.ndarray
    wear: LevelRate
    drag: DragState

    @classmethod
    def of_new(cls, wear: WearParameters, drag: DragParameters, type_code: np.ndarray) -> Known:
        """Return what is known of new pumps."""
        return cls(np.zeros(len(type_code)), type_code, *new_pumps(wear, drag, type_code))

    def take(self, rows: slice | np.ndarray) -> Known:
        """Return `rows`."""
        return take(self, rows)


class LogSurvival(NamedTuple):
    """-ln S since the last visit by cause, (n,) each; the drag mixture is one cause."""

    wear: np.ndarray
    drag: np.ndarray
    sudden: np.ndarray

    @property
    def total(self) -> np.ndarray:
        """The sum."""
        return self.wear + self.drag + self.sudden


class RiskModel:
    """The survival formulas for one set of parameters, with the delay-time hazard tabulated."""

    def __init__(self, wear: WearParameters, drag: DragParameters, failure: FailureParameters):
        self.wear, self.drag, self.failure = wear, drag, failure
        self.delay_hazard = delay_hazard_table(drag, failure)

    def log_survival(self, known: Known, d_km: np.ndarray) -> LogSurvival:
        """Return -ln S from the last visit to `d_km` (n,) beyond it."""
        f, code = self.failure, known.type_code
        d = np.maximum(d_km, 0.0)
        w = known.wear
        t_0 = wear_model.clock(known.x_km, self.wear.power)
        h = wear_model.clock(known.x_km + d, self.wear.power) - t_0
        rate = np.maximum(w.s, 0.1 * self.wear.rate[..., code])  # healing earns no credit
        wear = crossing(
            np.maximum(w.w, 0.0),
            rate,
            w.ww,
            w.ws,
            w.ss,
            h,
            self.wear.walk,
            f.wear_level[..., code],
            f.wear_level_sd[..., code],
        )
        g = known.drag.drag
        growth = np.maximum(g.s, 0.1 * self.drag.growth)
        k = d / drag_model.UNIT_KM
        started = crossing(
            np.maximum(g.w, 0.0), growth, g.ww, g.ws, g.ss, k, self.drag.walk, f.drag_level, f.drag_level_sd
        )
        hazard = self.drag.starts[..., code] * look_up(self.delay_hazard, known.x_km, d)
        pi = known.drag.started
        mixture = -np.log(np.maximum((1 - pi) * np.exp(-hazard) + pi * np.exp(-started), 1e-300))
        return LogSurvival(
            wear * f.wear_factor[code], mixture * f.drag_factor[code], f.sudden_per_km[..., code] * d
        )

    def risk(self, known: Known, d_0: np.ndarray, d_km: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Return the risk over `d_km` from `d_0` beyond the last visit, and its parts (3, n) in points of
        1."""
        before, after = self.log_survival(known, d_0), self.log_survival(known, d_0 + d_km)
        parts = np.maximum(np.array(after) - np.array(before), 0.0)
        total = parts.sum(0)
        p = -np.expm1(-total)
        return p, parts * (p / np.maximum(total, 1e-300))

    def survival(self, known: Known, d_0: np.ndarray, grid_km: np.ndarray) -> np.ndarray:
        """Return S(d_0 + d)/S(d_0) on the grid, (n, m), non-increasing along it."""
        base = self.log_survival(known, d_0).total
        out = np.empty((len(base), len(grid_km)))
        for j, d in enumerate(grid_km):
            out[:, j] = np.exp(np.minimum(base - self.log_survival(known, d_0 + d).total, 0.0))
        return np.minimum.accumulate(out, axis=1)


def crossing(
    m: np.ndarray,
    s: np.ndarray,
    mm: np.ndarray,
    ms: np.ndarray,
    ss: np.ndarray,
    h: np.ndarray,
    walk: Value,
    level: Value,
    level_sd: Value,
) -> np.ndarray:
    """Return -ln of Phi((theta - m(h))/sqrt(v(h) + sigma^2)) over the same at h = 0, at least 0."""
    sigma2 = level_sd * level_sd
    v_h = np.maximum(mm + h * (2 * ms + h * ss) + walk * h**3 / 3, 0.0)
    z_0 = (level - m) / np.sqrt(np.maximum(mm, 0.0) + sigma2)
    z_h = (level - m - s * h) / np.sqrt(v_h + sigma2)
    return np.maximum(log_ndtr(z_0) - log_ndtr(np.minimum(z_h, z_0)), 0.0)


def delay_hazard_table(drag: DragParameters, failure: FailureParameters) -> np.ndarray:
    """Return H(x, d) on X_GRID x D_GRID for a type factor of 1, (sets, x, d) or (x, d), by Gauss-Legendre in
    the delay."""
    growth, cv, level, sd, scale, shape = (
        np.reshape(v, (*np.shape(v)[:1], 1, 1, 1))  # beside (x, d, nodes)
        for v in (
            drag.growth,
            drag.growth_cv,
            failure.drag_level,
            failure.drag_level_sd,
            drag.scale_km,
            drag.shape,
        )
    )
    delay = 0.5 * D_GRID[:, None] * (NODES + 1)  # distance between start and x + d, (d, nodes)
    k = delay / drag_model.UNIT_KM
    spread = np.sqrt((growth * cv * k) ** 2 + sd**2)
    reached = ndtr((growth * k - level) / spread) - ndtr(-level / sd)
    at = X_GRID[:, None, None] + (D_GRID[:, None] - delay)
    density = shape / scale * (np.maximum(at, 1.0) / scale) ** (shape - 1)
    table = (density * np.clip(reached, 0, 1) * WEIGHTS).sum(-1) * 0.5 * D_GRID
    return np.maximum.accumulate(table, axis=-1)


def look_up(table: np.ndarray, x_km: np.ndarray, d_km: np.ndarray) -> np.ndarray:
    """Return the table's value at (x, d), bilinear, held at its edges; (n,) or (sets, n)."""
    i = np.clip((np.clip(x_km / X_GRID[-1], 0, 1) ** (1 / 1.5)) * (len(X_GRID) - 1), 0, len(X_GRID) - 1.001)
    j = np.clip(np.sqrt(np.clip(d_km / D_GRID[-1], 0, 1)) * (len(D_GRID) - 1), 0, len(D_GRID) - 1.001)
    i0, j0 = i.astype(int), j.astype(int)
    a = np.clip((x_km - X_GRID[i0]) / (X_GRID[i0 + 1] - X_GRID[i0]), 0, 1)
    b = np.clip((d_km - D_GRID[j0]) / (D_GRID[j0 + 1] - D_GRID[j0]), 0, 1)
    low = table[..., i0, j0] * (1 - b) + table[..., i0, j0 + 1] * b
    high = table[..., i0 + 1, j0] * (1 - b) + table[..., i0 + 1, j0 + 1] * b
    return low * (1 - a) + high * a
