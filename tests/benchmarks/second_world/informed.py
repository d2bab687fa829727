"""An informed observer: the world's true laws and numbers, and otherwise only what the fleet wrote down.

What can be known of a pump by someone who knows everything but the hidden states: a particle filter for
each pump. A particle holds when each mechanism begins and how fast it grows, the vehicle's stress, the cause
beside the pump that is present, if any, and whether the pump was changed unrecorded. The pump's own level of
amps, speed and ripple is summed out (Kalman), its levels of failure and its sudden end too (as survival).
Weighed are readings, pressure, delivery, drops, what checks named, work done, and that the pump still runs.

It does not learn one pump from another: a vehicle's stress, clamps and depots have the laws' spread, not
their values; the outlet filter's slow plugging is left out, one cause at a time is held. So it is near the
best that readings allow, not above it. Measured at planned stops of one standard fleet of 1,000 (seed 103,
five years, 1,000 particles, 40 s of CPU): AUC .795 over the next interval where the all-seeing have .912 and
boosted trees grown on 3,000 other vehicles' truth .806; Brier skill .16; at the top .68 told, .56 seen.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from scipy.special import log_ndtr, logsumexp

from . import causes
from .causes import FUEL, REGULATOR
from .designs import LIFE, SEEN, SUDDEN, column, log_volts, pump_effects, respond
from .heard import AFTER, CHECKED, FIRST, FITTED, READ, SERVICED, heard
from .kinds import DEPOT_STRESS, DUTIES
from .lives import COMEBACK_KM, FITTING_FAULT, GROUP, bad_lot
from .readings import NOISE, normalised
from .work import WITH_CHANGE

if TYPE_CHECKING:
    from .run import Run

# Scatter by design of amps, speed, ripple within a pump, in units of NOISE, and between pumps; their mean off
# the design: measured on 1,500 vehicles.
WITHIN = np.array([[0.97, 1.00, 1.02], [0.91, 0.83, 1.02], [1.10, 1.19, 1.04],
                   [0.96, 0.88, 1.04], [1.08, 0.88, 0.95], [1.07, 1.20, 1.02]])  # fmt: skip
BETWEEN = np.array([0.97, 1.0, 1.6])
MEAN = np.array([-0.1, 0.3, 0.25])
WRONG = 4.0  # sd of a clamp's momentary error in amps, units of NOISE
WANDER = 0.07  # variance of amps a year by clamps that drift or were dropped
LOST = 0.012  # changes a vehicle-year that nobody writes down
HIGH = 8  # the ninth cause: a regulator that holds too much
PER_PARTICLE = ("onset", "scale", "growth", "jump", "stress", "age", "short", "offset", "spread", "cause",
"since", "ceiling", "first", "grows", "survived")  # fmt: skip


class Informed:
    """The filter of one run: `update` takes in what it has recorded, `risk` tells what may follow."""

    def __init__(self, world, particles: int = 500, seed: int = 0, keep_curves_km: np.ndarray | None = None):
        """keep_curves_km: keep what `curves` says over this grid at each planned stop too."""
        self.keep_curves_km = keep_curves_km
        self.told_curves: list[np.ndarray] = []
        self.world, self.fleet, self.p = world, world.fleet, particles
        self.rng = np.random.default_rng([world.seed, seed])
        n, p = self.fleet.size, particles
        shape = dict.fromkeys(("onset", "scale", "growth", "jump"), (SEEN,))
        shape |= {"stress": (4,), "offset": (3,), "spread": (3,)}
        self.c = {name: np.ones((n, p, *shape.get(name, ()))) for name in PER_PARTICLE}
        self.logw = np.zeros((n, p))
        self.plain = 990 * np.array(world.kind.onset) * LIFE[self.fleet.design][:, None, :SEEN]
        self.fitted_day, self.fitted_km = np.full(n, -1e9), np.zeros(n)
        self.last_day, self.read_day = np.zeros(n), np.full(n, -1e9)
        self.fresh = np.zeros(n, bool)  # fitted by a workshop: may have a fitting fault
        self.taken = {name: np.zeros(0, bool) for name in ("fitted", "visits", "services")}
        depot = np.array(self.fleet.depot_kinds)[self.fleet.depot]
        stress = np.array([DEPOT_STRESS[kind] for kind in depot])
        stress = stress * np.array([duty.stress for duty in DUTIES])[self.fleet.duty] * [1.0, 1.06, 1.0]
        self.mean_stress = np.concatenate([stress, np.ones((n, 1))], axis=1)
        use = np.array([duty.km_year for duty in DUTIES])[self.fleet.duty] / 30_000
        odds = world.beside / (1 - world.beside)
        self.arrives = world.kind.beside * odds * (0.4 + 0.6 * use) / 365.25
        self.arrives *= np.where(depot == "dirty", 1.4, np.where(depot == "ordinary", 1.0, 1.15))
        alone = np.concatenate([np.eye(8), np.eye(8)[[REGULATOR]]])
        self.does = causes.effects(np.arange(9) != HIGH, alone)
        self.told_rows: list[tuple] = []

    # ------------------------------------------------------------------ public
    def update(self, run: Run, today: float | None = None) -> None:
        """Take in everything recorded by `today` (default: the run's) that was not taken in before."""
        u, day, what, row = heard(run.log, self.taken, run.today if today is None else today)
        order = np.lexsort((what, day, u))
        u, day, what, row = u[order], day[order], what[order], row[order]
        turn = np.arange(u.size) - np.searchsorted(u, u)
        v, s = run.log.columns("visits"), run.log.columns("services")
        f = run.log.columns("fitted")
        for k in range(turn.max() + 1 if turn.size else 0):
            for kind in range(6):
                at = np.flatnonzero((turn == k) & (what == kind))
                if not at.size:
                    continue
                w, d, r = u[at], day[at].astype(float), row[at]
                if kind in (FIRST, FITTED):
                    new = (d > self.fitted_day[w] + 1) | (kind == FIRST)
                    unknown = f["first"][r] & (self.fleet.luck.uniform("age-unknown", w) < 0.3)
                    self._born(w[new], d[new], unknown[new])
                    continue
                self._pass(w, d)
                if kind == SERVICED:
                    self._cured(w, s["work"][r])
                else:
                    again = (d > self.fitted_day[w] + 1) & (kind == AFTER)
                    if again.any():  # a change that nobody wrote down (yet)
                        self._born(w[again], d[again], np.zeros(int(again.sum()), bool))
                    told = {key: value[r] for key, value in v.items()}
                    if kind == CHECKED:
                        self._named(w, d, told)
                    self._weigh(w, d, told)
                    if kind == READ:
                        self._tell(w, d, told)
                        self._routine(w)

    def risk(self, u: np.ndarray, day: np.ndarray, ahead_km: np.ndarray) -> np.ndarray:
        """Chance that the pumps of these units (indices), running on `day`, fail within `ahead_km`."""
        weight = self._weights(u)
        run_km = self.fleet.km.at(u, day)
        now = self._log_survival(u, run_km)
        gone = -np.expm1(self._log_survival(u, run_km + ahead_km) - now)
        seen = (weight * gone).sum(axis=1)
        return 1 - (1 - seen) * (1 - self._unseen(u, run_km, weight, ahead_km))

    def _unseen(self, u: np.ndarray, run_km: np.ndarray, weight: np.ndarray, ahead_km) -> np.ndarray:
        """Chance of an end that no reading shows, within `ahead_km`: sudden, or by the fitting."""
        stress = (weight * self.c["stress"][u, :, 3]).sum(axis=1)
        mean = 1000 * self.world.kind.sudden * LIFE[self.fleet.design[u], SUDDEN]
        sudden = -np.expm1(-ahead_km * stress / mean)
        young = np.clip(COMEBACK_KM - (run_km - self.fitted_km[u]), 0, ahead_km) / COMEBACK_KM
        return 1 - (1 - sudden) * (1 - FITTING_FAULT * young * self.fresh[u])

    def curves(self, u: np.ndarray, day: np.ndarray, grid_km: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Survival of these units' pumps, running on `day`, over grid_km (m,), (n, m): as known, and if a
        cause beside the pump stands there."""
        weight = self._weights(u)
        run_km = self.fleet.km.at(u, day)
        there = self._severity(u, run_km) > 0.2
        if_there = weight * there
        total = if_there.sum(axis=1, keepdims=True)
        if_there = np.where(total > 1e-6, if_there / np.maximum(total, 1e-9), weight)
        now = self._log_survival(u, run_km)
        seen = np.exp(np.stack([self._log_survival(u, run_km + d) - now for d in grid_km], axis=2))
        left = np.stack([1 - self._unseen(u, run_km, weight, d) for d in grid_km], axis=1)
        return tuple(np.einsum("np,npm->nm", w, seen) * left for w in (weight, if_there))

    def forecast(self, run: Run, ahead_km: float | np.ndarray | None = None) -> pd.DataFrame:
        """For units in service at `run.today`: unit, risk over ahead_km (the class's interval), beside."""
        self.update(run)
        u = np.flatnonzero((self.fleet.in_service <= run.today) & (self.fleet.retires > run.today))
        day = np.full(u.size, float(run.today))
        self._pass(u, day)
        ahead = self.fleet.pm_km(u) if ahead_km is None else np.broadcast_to(ahead_km, u.shape)
        told = {"risk": self.risk(u, day, ahead), "beside": self.beside(u, day)}
        return pd.DataFrame({"unit": self.fleet.names[u], **told})

    def beside(self, u: np.ndarray, day: np.ndarray) -> np.ndarray:
        """Chance that a cause of severity over .2 stands beside the pumps of these units."""
        severity = self._severity(u, self.fleet.km.at(u, day))
        return (self._weights(u) * (severity > 0.2)).sum(axis=1)

    def told(self) -> pd.DataFrame:
        """What was told at each planned stop, after its reading: u, day, risk (class's interval), beside."""
        columns = [np.concatenate(part) for part in zip(*self.told_rows, strict=True)]
        return pd.DataFrame(dict(zip(("u", "day", "risk", "beside"), columns, strict=True)))

    # ------------------------------------------------------------------ facts
    def _born(self, u: np.ndarray, day: np.ndarray, unknown: np.ndarray) -> None:
        if not u.size:
            return
        kind, fleet, rng, c, n, p = self.world.kind, self.fleet, self.rng, self.c, u.size, self.p
        design = fleet.design[u]
        c["stress"][u] = self.mean_stress[u][:, None] * np.exp(
            rng.normal(size=(n, p, 4)) * [0.25, 0.25, 0.25, 0.15]
        )
        lot = bad_lot(fleet, kind)
        inside = (design == lot.design) & (day >= lot.first) & (day < lot.first + kind.bad_days)
        bad = inside[:, None] & (rng.random((n, p)) < kind.bad_share * (lot.lot >= 0))
        hit = bad[:, :, None] & (np.arange(SEEN) == lot.mechanism)
        scale = 1000 * np.array(kind.onset) * LIFE[design][:, None, :SEEN]
        c["scale"][u] = np.where(hit, scale * kind.bad_life, scale)
        c["onset"][u] = np.inf
        c["short"][u] = rng.random((n, p)) < column("short_share", design)[:, None]
        c["offset"][u], c["spread"][u], c["survived"][u] = MEAN, BETWEEN**2, 0.0
        first = self.fitted_day[u] < -1e8
        goes = np.append(WITH_CHANGE, WITH_CHANGE[REGULATOR])
        held = c["cause"][u].astype(int)
        c["cause"][u] = np.where(first[:, None] | (rng.random((n, p)) < goes[held]), -1, held)
        self.logw[u] = 0.0
        # Of unknown age at day 0: anywhere in the vehicle's years, weighed by having survived them.
        served = -fleet.km.at(u, fleet.in_service[u]) + fleet.km.at(u, np.zeros(n))
        c["age"][u] = np.where(unknown[:, None], rng.random((n, p)) * served[:, None], 0.0)
        self.fitted_day[u] = day
        self.fitted_km[u] = fleet.km.at(u, np.where(unknown, 0.0, day))
        self.fresh[u] = day > np.maximum(fleet.in_service[u] + 5, 0)
        self.last_day[u] = np.maximum(day, -200)
        self._draw_ahead(u, np.zeros((n, p, SEEN)))

    def _draw_ahead(self, u: np.ndarray, exposure: np.ndarray) -> None:
        """Draw anew what has not begun, given that it hasn't: nothing was seen of it, so this is exact."""
        kind, rng, c = self.world.kind, self.rng, self.c
        shape = np.array(kind.shape)
        ahead = c["onset"][u] > exposure
        scale = c["scale"][u]
        onset = scale * ((exposure / scale) ** shape + rng.exponential(size=exposure.shape)) ** (1 / shape)
        growth = np.exp(rng.normal(size=exposure.shape) * np.array(kind.growth_spread))
        growth = growth * 1000 * np.array(kind.growth) * np.where(scale < self.plain[u], 0.8, 1.0)
        jump = np.array(kind.jump) * rng.random(exposure.shape)
        for name, value in (("onset", onset), ("growth", growth), ("jump", jump)):
            c[name][u] = np.where(ahead, value, c[name][u])

    # ------------------------------------------------------------------ the state at a distance
    def _weights(self, u: np.ndarray) -> np.ndarray:
        logw = self.logw[u]
        return np.exp(logw - logsumexp(logw, axis=1, keepdims=True))

    def _exposure(self, u: np.ndarray, run_km: np.ndarray) -> np.ndarray:
        """Stress distance by mechanism, (n, particles, SEEN)."""
        distance = (run_km - self.fitted_km[u])[:, None] + self.c["age"][u]
        return np.maximum(distance, 0.0)[:, :, None] * self.c["stress"][u][:, :, GROUP]

    def _damage(self, u: np.ndarray, run_km: np.ndarray) -> np.ndarray:
        c, kind = self.c, self.world.kind
        since = self._exposure(u, run_km) - c["onset"][u]
        grown = c["jump"][u] + (np.maximum(since, 0) / c["growth"][u]) ** np.array(kind.power)
        return np.where(since > 0, grown, 0.0)

    def _log_survival(self, u: np.ndarray, run_km: np.ndarray) -> np.ndarray:
        """Of the levels of failure, given damage; (n, particles)."""
        hurt = self._damage(u, run_km)
        with np.errstate(divide="ignore"):
            return log_ndtr(-np.log(hurt) / self.world.kind.level_spread).sum(axis=2)

    def _severity(self, u: np.ndarray, run_km: np.ndarray) -> np.ndarray:
        c = self.c
        grown = np.clip((run_km[:, None] - c["since"][u]) / np.maximum(c["grows"][u], 1.0), 0, 1)
        level = c["ceiling"][u] * (c["first"][u] + (1 - c["first"][u]) * grown)
        return np.where(c["cause"][u] >= 0, level, 0.0)

    def _pass(self, u: np.ndarray, day: np.ndarray) -> None:
        """Let time go by: causes come, bad fuel goes, the pump still runs."""
        c, rng, n, p = self.c, self.rng, u.size, self.p
        days = np.maximum(day - self.last_day[u], 0)
        starts = rng.random((n, p)) < -np.expm1(-self.arrives[u] * days)[:, None]
        starts &= c["cause"][u] < 0
        i, j = np.nonzero(starts)
        which = rng.choice(8, size=i.size, p=causes.SHARE / causes.SHARE.sum())
        which = np.where((which == REGULATOR) & (rng.random(i.size) > 0.6), HIGH, which)
        a, b = u[i], j
        c["cause"][a, b] = which
        c["since"][a, b] = self.fleet.km.at(a, day[i] - rng.random(i.size) * days[i])
        c["ceiling"][a, b] = np.exp(0.45 * rng.normal(size=i.size))
        c["first"][a, b] = np.where(rng.random(i.size) < 0.35, 1.0, 0.15) * rng.random(i.size)
        grows = np.append(causes.GROWS_KM, causes.GROWS_KM[REGULATOR])[which]
        c["grows"][a, b] = grows * np.exp(0.6 * rng.normal(size=i.size))
        run_km = self.fleet.km.at(u, day)
        then = self.fleet.km.at(u, day - causes.FUEL_DAYS)[:, None]
        spent = (c["cause"][u] == FUEL) & (c["since"][u] < then)
        c["cause"][u] = np.where(spent, -1, c["cause"][u])
        self._swapped(u, run_km, days)
        c["spread"][u, :, 0] += (WANDER / 365.25 * days)[:, None]
        alive = self._log_survival(u, run_km)
        self.logw[u] += alive - c["survived"][u]
        c["survived"][u] = alive
        self.last_day[u] = np.maximum(self.last_day[u], day)

    def _swapped(self, u: np.ndarray, run_km: np.ndarray, days: np.ndarray) -> None:
        """In some particles the pump has been changed since, and nobody wrote it down."""
        c = self.c
        new = self.rng.random((u.size, self.p)) < (LOST / 365.25 * days)[:, None]
        i, b = np.nonzero(new)
        if i.size:
            a = u[i]
            c["age"][a, b] = self.fitted_km[a] - run_km[i]
            c["onset"][a, b], c["survived"][a, b] = np.inf, 0.0
            c["offset"][a, b], c["spread"][a, b] = MEAN, BETWEEN**2
            touched = np.unique(i)
            self._draw_ahead(u[touched], self._exposure(u[touched], run_km[touched]))

    def _routine(self, u: np.ndarray) -> None:
        """At a stop, work that nobody meant for it cures some causes."""
        chance = np.append(causes.INCIDENTAL, causes.INCIDENTAL[REGULATOR])
        cause = self.c["cause"][u].astype(int)
        gone = self.rng.random(cause.shape) < np.where(cause >= 0, chance[cause], 0.0)
        self.c["cause"][u] = np.where(gone, -1, cause)

    def _cured(self, u: np.ndarray, cause: np.ndarray) -> None:
        """Recorded work on a cause: it is gone (wiring: supply or ground)."""
        work = np.array([*causes.WORK, "regulator", ""], dtype=object)
        held = self.c["cause"][u].astype(int)
        same = work[held] == work[cause][:, None]
        self.c["cause"][u] = np.where(same, -1, held)

    def _named(self, u: np.ndarray, day: np.ndarray, told: dict[str, np.ndarray]) -> None:
        """What a check named, or that it named nothing; then that cause is gone."""
        skill = self.world.skill
        opened = told["strainer"] != 2
        code = told["check_result"]  # 0 none, 1 not reproduced, 2 + cause
        find = np.array(skill.closed)[None] + opened[:, None] * (1 - np.array(skill.closed)) * skill.opened
        find = np.concatenate([find, find[:, [REGULATOR]], np.zeros((u.size, 1))], axis=1)
        held = self.c["cause"][u].astype(int)
        severity = self._severity(u, self.fleet.km.at(u, day))
        seen = np.take_along_axis(find, held, axis=1) * np.clip(severity / 0.35, 0, 1)
        false = skill.false_closed + skill.false_open * opened[:, None]
        name = np.array([*causes.CHECK_NAME, "regulator", ""], dtype=object)
        said = np.where(code >= 2, name[np.maximum(code - 2, 0)], "-")
        right = name[held] == said[:, None]
        likely = np.where(right, seen, (1 - seen) * np.where(code[:, None] >= 2, false / 4, 1 - false))
        self.logw[u] += np.log(np.maximum(likely, 1e-6))
        gone = right & (self.rng.random(held.shape) < seen / np.maximum(seen + (1 - seen) * false / 4, 1e-9))
        self.c["cause"][u] = np.where(gone, -1, held)

    # ------------------------------------------------------------------ readings
    def _weigh(self, u: np.ndarray, day: np.ndarray, told: dict[str, np.ndarray]) -> None:
        design, c = self.fleet.design[u], self.c
        run_km = self.fleet.km.at(u, day)
        wide = np.repeat(design[:, None], self.p, axis=1)
        worn = pump_effects(wide, self._damage(u, run_km), c["short"][u] > 0)
        severity = self._severity(u, run_km)
        held = c["cause"][u].astype(int)
        does = {name: np.append(value, 0.0)[held] * severity for name, value in self.does.items()}
        at_pump = (told["at"] == 0)[:, None] & ~np.isnan(told["supply_v"])[:, None]
        lost = does["connector_v"] + np.where(at_pump, 0.0, does["supply_v"] + does["ground_v"])
        amps, speed = respond(
            wide, log_volts(13.5 - lost, worn["brush_v"]), does["pressure"], worn["load"] + does["load"],
            worn["resistance"], worn["strength"],
        )  # fmt: skip
        ripple = (worn["ripple"] + does["ripple"]) / (NOISE["ripple"] * column("ripple", wide))
        seen = np.stack([amps / NOISE["amps"], speed / NOISE["rpm"], ripple], axis=2)
        self._kalman(u, day, design, normalised(design, told), seen)
        volts = np.where(np.isnan(told["supply_v"]), 13.7, told["supply_v"])
        delivered = np.maximum(1 + worn["delivery"] + does["delivery"], 0.05) * np.exp(
            speed + respond(design, log_volts(volts))[1][:, None] - does["pressure"] / 4
        )
        falls = np.log(np.clip(delivered / 0.72, 0.3, 1.0))
        free = told["delivery_at"][:, None] > 0
        flow = np.log(np.where(free, 1.35 * delivered**0.8, delivered))
        with np.errstate(invalid="ignore"):
            kpa = np.log(told["fuel_pressure_kpa"] / column("rated_kpa", design))[:, None]
            litres = np.log(told["delivery_l_min"] / column("delivery", design))[:, None]
        for said, meant, sd in (
            (kpa, does["line"] + falls, 0.035),
            (litres, flow, 0.075),
            (told["drop_supply_v"][:, None], 0.16 + does["supply_v"], 0.055),
            (told["drop_ground_v"][:, None], 0.05 + does["ground_v"], 0.03),
        ):
            # A twentieth of a wider error keeps one odd number from deciding all.
            off = np.where(np.isnan(said), 0.0, (said - meant) / sd)
            self.logw[u] += np.log(np.exp(-0.5 * off**2) + 0.01 * np.exp(-0.5 * (off / 5) ** 2) + 1e-12)
        self._resample(u)

    def _kalman(self, u: np.ndarray, day: np.ndarray, design: np.ndarray, z: np.ndarray, seen: np.ndarray):
        """Weigh readings z (n, 3) against what each particle says (n, particles, 3), own level summed out."""
        c = self.c
        # A repeat on the same day shares that day's fuel, volts and pressure: it says little more.
        again = np.where(day <= self.read_day[u], 5.0, 1.0)
        noise = (WITHIN[design] ** 2 * again[:, None])[:, None, :]
        self.read_day[u] = day
        seen_at_all = ~np.isnan(z)[:, None, :]
        apart = np.where(seen_at_all, z[:, None, :] - seen - c["offset"][u], 0.0)
        error = self.world.clamp_errors
        parts, gains = [], []
        # Usual; a clamp's error; a day apart (dry tank, vapour).
        for share, wider, extra in ((0.97 - error, 1.0, 0.0), (error, 1.0, WRONG**2), (0.03, 5.0, 0.0)):
            total = c["spread"][u] + noise * wider + np.array([extra, 0.0, 0.0])
            each = -0.5 * (apart**2 / total + np.log(total))
            each = np.where(seen_at_all, each, 0.0).sum(axis=2)
            parts.append(each + np.log(share))
            gains.append(np.where(seen_at_all, c["spread"][u] / total, 0.0))
        self.logw[u] += logsumexp(parts, axis=0)
        best = np.argmax(parts, axis=0)[:, :, None]
        gain = np.where(best == 0, gains[0], np.where(best == 1, gains[1], gains[2]))
        c["offset"][u] += gain * apart
        c["spread"][u] *= 1 - gain

    def _resample(self, u: np.ndarray) -> None:
        weight = self._weights(u)
        poor = 1 / (weight**2).sum(axis=1) < self.p / 3
        if not poor.any():
            return
        w, weight = u[poor], weight[poor]
        edges = np.cumsum(weight, axis=1)
        steps = (np.arange(self.p) + self.rng.random((w.size, 1))) / self.p
        rows = np.arange(w.size)[:, None]
        flat = np.searchsorted((edges / edges[:, -1:] + rows).ravel(), (steps + rows).ravel())
        pick = np.clip(flat.reshape(w.size, self.p) - rows * self.p, 0, self.p - 1)
        for value in self.c.values():
            value[w] = value[w[:, None], pick]
        self.logw[w] = 0.0
        # A little apart again, lest all be one.
        self.c["growth"][w] *= np.exp(0.06 * self.rng.normal(size=(w.size, self.p, SEEN)))
        self.c["ceiling"][w] *= np.exp(0.06 * self.rng.normal(size=(w.size, self.p)))
        self._draw_ahead(w, self._exposure(w, self.fleet.km.at(w, self.last_day[w])))
        self.c["survived"][w] = self._log_survival(w, self.fleet.km.at(w, self.last_day[w]))

    def _tell(self, u: np.ndarray, day: np.ndarray, told: dict[str, np.ndarray]) -> None:
        pm = told["reason"] == 0
        w, d = u[pm], day[pm]
        if w.size:
            self.told_rows.append((w, d, self.risk(w, d, self.fleet.pm_km(w)), self.beside(w, d)))
            if self.keep_curves_km is not None:
                self.told_curves.append(self.curves(w, d, self.keep_curves_km)[0].astype(np.float32))
