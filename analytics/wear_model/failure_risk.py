"""Chance of failing on the road: wear, drag and sudden failure, from what the filters know at the last visit.

From the last visit at x to a distance d beyond it
    S(d) = S_wear(d) * product over drag, hydraulic, commutator, brush of
               [(1 - pi) exp(-H(d)) + pi * S_started(d)] * exp(-lambda d),
    pi the chance that it has started and is one that ends a pump, given that the pump still runs: by Bayes
    pi proportional to P(started | readings) * R, R the chance to run with damage as it is read (`runs_on`);
    S_u(d) = Phi((theta - m(d)) / sqrt(v(d) + sigma^2)) / Phi((theta - m(0)) / sqrt(v(0) + sigma^2)),  in
    [0, 1] H(d) = integral over starts t in (x, x + d) of P(drag reaches its level within x + d - t) dL(t)
theta, sigma: mean and spread of the failure levels, learned from this fleet. Given survival to the as-of
date at d_0, risk over a further d is 1 - S(d_0 + d)/S(d_0). A part in points is risk * its share of -ln S.
Sources: Lu & Meeker 1993 (crossing of a random path), Christer & Waller 1984 (delay time H).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from scipy.special import log_ndtr, ndtr

from analytics.wear_model import drag as drag_model
from analytics.wear_model import wear as wear_model
from analytics.wear_model.damages import new_pumps
from analytics.wear_model.drag import DragParameters, DragState
from analytics.wear_model.level_rate import LevelRate, Value
from analytics.wear_model.onsets import NAMES, Begun, OnsetParameters, Onsets, new_onsets
from analytics.wear_model.tracks import take
from analytics.wear_model.wear import WearParameters

X_GRID = np.linspace(0.0, 1.0, 41) ** 1.5 * 900e3
D_GRID = np.linspace(0.0, 1.0, 61) ** 2 * 900e3
X_STEP, D_STEP = np.diff(X_GRID), np.diff(D_GRID)
# Chance to run on with damage far beyond where such usually ends a pump: what readings call damage and how
# levels differ is known no better than that (common practice, no source).
LEAST_RUNNING = 0.1
# Of shifts beside the pump as readings tell them, those that have a cause: chosen on simulated fleets
# (docs/how_well_it_forecasts.md); the rest is scatter that no damage explains.
CAUSES_SHARE = 0.4
AT_ONCE = 30_000  # survivals worked out in one pass: they stay in the cache
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(12)
DELAY_KM = 0.5 * D_GRID[:, None] * (_NODES + 1)  # from a start to x + d, (d, nodes)
PARTS = 0.5 * D_GRID[:, None] * _WEIGHTS  # of the integral, (d, nodes)
_START_KM = np.maximum(X_GRID[:, None, None] + D_GRID[:, None] - DELAY_KM, 1.0)
LOG_START = np.log(_START_KM)  # where such a damage starts, (x, d, nodes)


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
    begun: Begun
    exposure: np.ndarray  # factor on what readings don't show yet (exposure.py)

    @classmethod
    def of_new(
        cls,
        wear: WearParameters,
        drag: DragParameters,
        onsets: Onsets,
        type_code: np.ndarray,
        exposure: np.ndarray | None = None,
    ) -> Known:
        """Return what is known of new pumps."""
        both, begun = new_pumps(wear, drag, type_code), new_onsets(onsets, type_code)
        factor = np.ones(len(type_code)) if exposure is None else exposure
        return cls(np.zeros(len(type_code)), type_code, *both, begun, factor)

    def take(self, rows: slice | np.ndarray) -> Known:
        """Return `rows`."""
        return take(self, rows)


class LogSurvival(NamedTuple):
    """-ln S since the last visit by cause, (n,) each; started or not yet, a damage is one cause."""

    wear: np.ndarray
    drag: np.ndarray
    sudden: np.ndarray
    hydraulic: np.ndarray
    commutator: np.ndarray
    brush: np.ndarray

    @property
    def total(self) -> np.ndarray:
        """The sum."""
        total: np.ndarray = self[0]
        for part in self[1:]:
            total = total + part
        return total

    @property
    def array(self) -> np.ndarray:
        """All causes, in the order of CAUSES, (causes, n)."""
        return np.array(np.broadcast_arrays(*self))


CAUSES = LogSurvival._fields


class RiskModel:
    """The survival formulas for one set of parameters, with the delay-time hazard tabulated."""

    def __init__(
        self, wear: WearParameters, drag: DragParameters, failure: FailureParameters, onsets: Onsets
    ):
        self.wear, self.drag, self.failure, self.onsets = wear, drag, failure, onsets
        self.delay_hazard = delay_hazard_table(drag, failure.drag_level, failure.drag_level_sd)

    def log_survival(self, known: Known, d_km: np.ndarray) -> LogSurvival:
        """Return -ln S from the last visit to `d_km` (n,) beyond it, or to several distances, (m, n)."""
        return LogSurvival(*self.of_first(known, d_km), *self.of_onsets(known, d_km))

    def of_first(self, known: Known, d_km: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """As `log_survival`, of wear, drag and sudden failure."""
        d = np.maximum(d_km, 0.0)
        sudden = self.failure.sudden_per_km[..., known.type_code] * (known.exposure * d)
        return self._of_wear(known, d), self._of_drag(known, d), sudden

    def of_onsets(self, known: Known, d_km: np.ndarray) -> list[np.ndarray]:
        """As `log_survival`, of each of onsets.NAMES."""
        d = np.maximum(d_km, 0.0)
        parts = ((getattr(self.onsets, name), getattr(known.begun, name)) for name in NAMES)
        return [onset_survival(p, state, known, d) for p, state in parts]

    def _of_wear(self, known: Known, d: np.ndarray) -> np.ndarray:
        f, code, w = self.failure, known.type_code, known.wear
        t_0 = wear_model.clock(known.x_km, self.wear.power)
        h = wear_model.clock(known.x_km + d, self.wear.power) - t_0
        rate = np.maximum(w.s, 0.1 * self.wear.rate[..., code])  # healing earns no credit
        level, level_sd = f.wear_level[..., code], f.wear_level_sd[..., code]
        passed = crossing(np.maximum(w.w, 0.0), rate, w.ww, w.ws, w.ss, h, self.wear.walk, level, level_sd)
        return passed * f.wear_factor[code]

    def _of_drag(self, known: Known, d: np.ndarray) -> np.ndarray:
        f, code = self.failure, known.type_code
        hazard = self.drag.starts[..., code] * known.exposure * look_up(self.delay_hazard, known.x_km, d)
        mixture = _mixture(self.drag, known.drag, hazard, d, f.drag_level, f.drag_level_sd)
        return mixture * f.drag_factor[code]

    def unseen(self, known: Known, d_km: np.ndarray) -> np.ndarray:
        """Return the part of -ln S to `d_km` (n,) beyond the last visit that no reading shows yet: damages
        that have not started, and sudden failures."""
        f, code, d = self.failure, known.type_code, np.maximum(d_km, 0.0)
        hazard = self.drag.starts[code] * look_up(self.delay_hazard, known.x_km, d) * f.drag_factor[code]
        total = f.sudden_per_km[code] * d + (1 - known.drag.started) * hazard
        for name in NAMES:
            p: OnsetParameters = getattr(self.onsets, name)
            if p.counts:
                table = delay_hazard_table(p, p.fails_at, p.fails_at_sd)
                hazard = p.starts[code] * look_up(table, known.x_km, d) * p.factor[code]
                total = total + (1 - getattr(known.begun, name).started) * hazard
        return np.asarray(total * known.exposure)

    def ends_by_drag(self, known: Known) -> np.ndarray:
        """Return the chance that drag has started and is one that ends the pump, (n,)."""
        return self._of_running(known)["drag"].ends

    def p_started(self, known: Known) -> dict[str, np.ndarray]:
        """Return the chance that each damage with an onset (drag or one of onsets.py) has started in a pump
        that runs, by name, (n,)."""
        return {name: told.started for name, told in self._of_running(known).items()}

    def p_damage(self, known: Known) -> np.ndarray:
        """Return the chance that any of them has started, (n,)."""
        code, told = known.type_code, self.p_started(known)
        counts = {"drag": 1.0} | {
            name: np.minimum(getattr(self.onsets, name).factor[code], 1.0) for name in NAMES
        }
        return 1 - np.prod([1 - counts[name] * chance for name, chance in told.items()], axis=0)

    def p_beside_pump(self, known: Known) -> np.ndarray:
        """Return the chance that something beside the pump shifts a reading now (supply, a starved or
        restricted flow, the clamp), (n,)."""
        told = self._of_running(known)
        aside = {name: told[name].aside for name in NAMES if getattr(self.onsets, name).counts}
        nowhere = np.zeros(len(known.x_km))
        # One shift of the load is read twice: what drag can't explain may be a leak, and the other way. And
        # one cause may show in the load and as lost speed.
        load = np.minimum(told["drag"].aside, aside.get("hydraulic", told["drag"].aside))
        steady = np.maximum(_of_causes(load), _of_causes(aside.get("brush", nowhere)))
        return np.asarray(1 - (1 - steady) * (1 - _of_causes(aside.get("commutator", nowhere))))

    def _of_running(self, known: Known) -> dict[str, Running]:
        f = self.failure
        return {"drag": running(self.drag, known.drag, f.drag_level, f.drag_level_sd)} | {
            name: running(p, getattr(known.begun, name), p.fails_at, p.fails_at_sd)
            for name, p in ((name, getattr(self.onsets, name)) for name in NAMES)
        }

    def risk(self, known: Known, d_0: np.ndarray, d_km: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Return the risk over `d_km` from `d_0` beyond the last visit, and its parts in the order of
        CAUSES, (causes, n), in points of 1."""
        parts = self.log_survival(known, d_0 + d_km).array
        if d_0.any():  # at the last visit itself nothing has fallen yet
            parts = parts - self.log_survival(known, d_0).array
        parts = np.maximum(parts, 0.0)
        total = parts.sum(0)
        p = -np.expm1(-total)
        return p, parts * (p / np.maximum(total, 1e-300))

    def survival(self, known: Known, d_0: np.ndarray, grid_km: np.ndarray) -> np.ndarray:
        """Return S(d_0 + d)/S(d_0) on the grid, (n, m), non-increasing along it."""
        n, m = len(d_0), len(grid_km)
        out = np.empty((n, m))
        size = max(AT_ONCE // max(m, 1), 1)
        for first in range(0, n, size):
            part = slice(first, first + size)
            here, since = known.take(part), d_0[part]
            base = self.log_survival(here, since).total
            gone = self.log_survival(here, since + grid_km[:, None]).total  # distances beside pumps
            out[part] = np.exp(np.minimum(base - gone, 0.0)).T
        return np.minimum.accumulate(out, axis=1)


def onset_survival(p: OnsetParameters, state: DragState, known: Known, d: np.ndarray) -> np.ndarray:
    """Return -ln S by one damage from the last visit to `d` km beyond it, (n,) or (sets, n)."""
    if not p.counts:
        return np.zeros(np.shape(d))
    table = delay_hazard_table(p, p.fails_at, p.fails_at_sd)
    code = known.type_code
    hazard = p.starts[..., code] * known.exposure * look_up(table, known.x_km, d)
    return _mixture(p, state, hazard, d, p.fails_at, p.fails_at_sd) * p.factor[..., code]


def _mixture(
    p: DragParameters, state: DragState, hazard: np.ndarray, d: np.ndarray, level: Value, level_sd: Value
) -> np.ndarray:
    """Return -ln of (1 - pi) exp(-hazard) + pi * S_started(d)."""
    if not state.started.any():  # as in new pumps: all of it is hazard
        return hazard
    g, pi = state.drag, running(p, state, level, level_sd).ends
    growth = np.maximum(g.s, 0.1 * p.growth)
    k = d / drag_model.UNIT_KM
    started = crossing(np.maximum(g.w, 0.0), growth, g.ww, g.ws, g.ss, k, p.walk, level, level_sd)
    return -np.log(np.maximum((1 - pi) * np.exp(-hazard) + pi * np.exp(-started), 1e-300))


class Running(NamedTuple):
    """Of a pump that runs, the chance that a damage has started and is one that ends it, that it has started
    at all, and that something beside the pump is there instead; (n,) or (sets, n)."""

    ends: np.ndarray
    started: np.ndarray
    aside: np.ndarray


def running(p: DragParameters, state: DragState, level: Value, level_sd: Value) -> Running:
    """Weigh what readings say of a damage by the pump's running with it."""
    ends = state.started * (1 - p.harmless)
    r = runs_on(state.drag, level, level_sd)
    total = 1 - ends + ends * r
    return Running(ends * r / total, (state.started - ends + ends * r) / total, state.aside.p / total)


def _of_causes(aside: np.ndarray) -> np.ndarray:
    """Return the chance that a shift beside the pump is there and somebody would find its cause, of a chance
    learned from readings, which scatter farther now and then than any cause beside the pump."""
    return np.asarray(CAUSES_SHARE * aside / (1 - aside + CAUSES_SHARE * aside))


def runs_on(drag: LevelRate, level: Value, level_sd: Value) -> np.ndarray:
    """Return the chance that a pump runs with damage as it is now, no less than LEAST_RUNNING."""
    sd = np.sqrt(np.maximum(drag.ww, 0.0) + level_sd * level_sd)
    return LEAST_RUNNING + (1 - LEAST_RUNNING) * ndtr((level - np.maximum(drag.w, 0.0)) / sd)


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
    """Return -ln of Phi((theta - m(h))/sqrt(v(h) + sigma^2)) over the same at h = 0, at least 0.

    Of a pump beyond theta v(h) is kept at v(0): that it may grow less, or heal, would be credit.
    """
    sigma2 = level_sd * level_sd
    v_0 = np.maximum(mm, 0.0)
    cubed = h * h * h  # as a power it would take ten times as long
    v_h = np.maximum(mm + h * (2 * ms + h * ss) + walk * cubed / 3, 0.0)
    left = level - m - s * h
    z_0 = (level - m) / np.sqrt(v_0 + sigma2)
    z_h = left / np.sqrt(np.where(m > level, np.minimum(v_0, v_h), v_h) + sigma2)
    return np.maximum(log_ndtr(z_0) - log_ndtr(np.minimum(z_h, z_0)), 0.0)


def delay_hazard_table(p: DragParameters, level: Value, level_sd: Value) -> np.ndarray:
    """Return H(x, d) on X_GRID x D_GRID for a type factor of 1, (sets, x, d) or (x, d), by Gauss-Legendre in
    the delay."""
    jumps = (p.jump, p.jump_sd, p.at_once_per_km, *drag_model.far_jump(p))
    values = (p.growth, p.growth_cv, level, level_sd, p.scale_km, p.shape, *jumps)
    if not any(np.ndim(v) for v in values):
        return _one_table(*(float(v) for v in values))
    return _table(*(np.reshape(v, (*np.shape(v)[:1], 1, 1, 1)) for v in values))  # beside (x, d, nodes)


@lru_cache(64)
def _one_table(*values: float) -> np.ndarray:
    """As `_table`, of one set of values: the same is asked for again and again while others are learned."""
    return _table(*(np.full((1, 1, 1), v) for v in values))


def _table(
    growth: np.ndarray,
    cv: np.ndarray,
    level: np.ndarray,
    sd: np.ndarray,
    scale: np.ndarray,
    shape: np.ndarray,
    jump: np.ndarray,
    jump_sd: np.ndarray,
    at_once_per_km: np.ndarray,
    far: np.ndarray,
    far_sd: np.ndarray,
) -> np.ndarray:
    k = DELAY_KM / drag_model.UNIT_KM

    def reached(jump: np.ndarray, jump_sd: np.ndarray) -> np.ndarray:
        spread = np.sqrt((growth * cv * k) ** 2 + sd**2 + jump_sd**2)
        return np.clip(ndtr((jump + growth * k - level) / spread) - ndtr(-level / sd), 0, 1) * PARTS

    density = shape / scale * np.exp((shape - 1) * (LOG_START - np.log(scale)))
    table = np.einsum("...xdn,...xdn->...xd", density, reached(jump, jump_sd))  # reached from any x alike
    if at_once_per_km.any():
        table = table + (at_once_per_km * reached(far, far_sd)).sum(-1)
    return np.maximum.accumulate(table, axis=-1)


def look_up(table: np.ndarray, x_km: np.ndarray, d_km: np.ndarray) -> np.ndarray:
    """Return the table's value at (x, d), bilinear, held at its edges; (n,) or (sets, n)."""
    i = np.clip((np.clip(x_km / X_GRID[-1], 0, 1) ** (1 / 1.5)) * (len(X_GRID) - 1), 0, len(X_GRID) - 1.001)
    j = np.clip(np.sqrt(np.clip(d_km / D_GRID[-1], 0, 1)) * (len(D_GRID) - 1), 0, len(D_GRID) - 1.001)
    i0, j0 = i.astype(int), j.astype(int)
    a = np.clip((x_km - X_GRID[i0]) / X_STEP[i0], 0, 1)
    b = np.clip((d_km - D_GRID[j0]) / D_STEP[j0], 0, 1)
    cells = table.reshape(*table.shape[:-2], -1)  # by one index, which is found sooner than by two
    at = i0 * len(D_GRID) + j0
    low = cells.take(at, -1) * (1 - b) + cells.take(at + 1, -1) * b
    at = at + len(D_GRID)
    high = cells.take(at, -1) * (1 - b) + cells.take(at + 1, -1) * b
    return low * (1 - a) + high * a
