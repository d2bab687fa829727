"""Readings made comparable: what is left of current, speed and ripple at equal volts, pressure and warmth.

    ln I  = own level + s_V ln(V/V0) + s_P ln(P/P0) + s_T (T - 25)/100 + ...     (the same for ln rpm and
    ripple)
    load   G = ln I - k ln rpm,  k = s_V(I)/s_V(rpm): supply and wiring cancel, a rise of torque stays whole
    brush  Z = -(ln rpm + a/D * G): a rise of winding and brush resistance stays, torque cancels
The exponents come from differences between consecutive readings of the same pump, pulled by a ridge toward
the linearised motor's nominal ones (ingest.sensitivities), so that a small fleet gets the nominal ones.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from analytics.past.least_squares import fit_plane_robustly
from analytics.past.signs import Flow, Hints, flow, hints, pressure_far_above, usual_flow
from ingest.metrics import trended
from ingest.sensitivities import BRUSH_DROP_V, COPPER_PER_C, log_ratio, log_volts_ratio, sensitivities
from ingest.trade_numbers import USUAL_RPM

NOMINAL = sensitivities()
LOAD_SPEED = -NOMINAL.speed_resistance  # a/D: loss of ln speed for a rise of ln torque
NOMINAL_EXPONENTS = {  # of metrics that they move; the rest not at all
    "mean_a": np.array(
        [NOMINAL.current_volts, NOMINAL.current_pressure, 100 * COPPER_PER_C * NOMINAL.current_resistance]
    ),
    "rpm": np.array(
        [NOMINAL.speed_volts, NOMINAL.speed_pressure, 100 * COPPER_PER_C * NOMINAL.speed_resistance]
    ),
}
LOW_FEED = 0.7  # of its volts that a two-speed supply passes at low: common practice, no source
# What else readings of a pump may differ by: the drive's share of the volts (ln; beyond what these volts do),
# low speed, engine state.
CIRCUMSTANCES = ("ln_feed", "low_speed", "prime", "loaded")
NOMINAL_CIRCUMSTANCES = {
    name: np.array([0.0, of[0] * np.log(LOW_FEED), 0.0, 0.0]) for name, of in NOMINAL_EXPONENTS.items()
}
# Factors on a reading's variance where volts are told by its state alone, in another state than idle, and
# without pressure (common practice, no source).
VOLTS_UNTOLD, OTHER_STATE, PRESSURE_UNTOLD = 3.0, 1.3, 1.3
USUAL_DROPS_V = 0.3  # that supply and ground of a sound circuit lose under load: common practice, no source
LOW_TANK_PCT = 25.0  # a pump may draw air below a quarter tank: common practice, no source
ENOUGH_PUMPS = 20_000  # with some ten readings each: exponents stand to a thousandth of what they change
# Where no pump of the type was read both ways a drive may do anything with amps and speed: this many times
# what other exponents may be off (common practice, no source).
OPEN = 7.0
LEAST_VOLTS = 0.4  # of the usual: no pump turns on less, so they were not what it ran on (common practice)
MENDED_SD = 0.15  # by which work on what feeds a pump its fuel may shift the load: no source, too
# By which a channel's own level may lie elsewhere after a repair that nobody wrote down, mostly a change of
# pump: as far as two pumps of a type lie apart (common practice, no source).
UNSAID_WORK_SD = {"ripple": 1.7, "load": 0.07, "leak": 0.07, "brush": 0.042}
FEW_PUMPS = 5  # read both ways, from which what a state or drive does to their type may be told
FEW_VOLTS = 20  # readings of a state from which its usual volts may be told
NO_FALL = np.array([-np.inf, 0.0])  # least of ln V/V0 and ln P/P0 where a pressure that fell is none
# What opens a channel, and where what checks and work say of it shows (signs.CAUSES_SEEN); in the order of
# Channels.
SHOWS_IN = {"load": "load", "leak": "load", "ripple": "ripple", "brush": "brush"}
ANY_STATE = "any"  # in Exponents.state_volts: usual volts of all readings
# How far a pump's own exponents on ln V and ln P lie from its fleet's: of the load by its load exponent
# (.3 +- .25: displacement 0, turbine .6) and by what pressure does to it, of the brush channel by its share
# of resistance; and what volts and pressure change from reading to reading anyhow (common practice).
OWN_EXPONENT_SD, USUAL_CHANGE = {"load": np.array([0.31, 0.5]), "brush": np.array([0.08, 0.0])}, 0.03
# Factor on the load's variance where the filter may be new or due: what it adds by then, present or not, is
# some three times a reading's noise (common practice, no source).
FILTER_IN_DOUBT = 8.0


@dataclass(frozen=True)
class Exponents:
    """Exponents on [ln V/V0, ln P/P0, (T - 25)/100], (3,) of each metric by name, as data moved them; beside:
    the same on CIRCUMSTANCES; state_volts: usual ln V/V0 of each engine state where the fleet tells it; flow:
    usual delivery, speed and pressure by type (signs.usual_flow); seen: by type, CIRCUMSTANCES that it is
    usually read in and the sum of squares by which they changed between readings of one pump, (2, 4), 0 where
    hardly a pump was read both ways."""

    of: dict[str, np.ndarray]
    beside: dict[str, np.ndarray]
    state_volts: dict[str, float]
    flow: dict[str, float] = field(default_factory=dict)
    seen: dict[str, np.ndarray] = field(default_factory=dict)

    @property
    def load_ratio(self) -> float:
        """The k of G, kept to what a brushed motor can show."""
        return float(np.clip(self.of["mean_a"][0] / max(self.of["rpm"][0], 0.3), 0.0, 0.8))


@dataclass(frozen=True)
class Channels:
    """Per visit: ripple (points), load G and brush Z (natural logs), NaN where they can't be told.

    load_noise: factor on the load's usual variance (no speed, a meter's average instead of a capture, a
    filter that may or may not have been changed); ripple_noise, brush_noise: the same of those; starved: the
    tank was so low that a load that falls is no sign of the pump; leak: the load where a pressure that fell
    is an outcome, not a covariate; flow, leak_flow: what is missing of the delivery, and the same with what
    pressure says of it; beside_load, beside_leak, beside_ripple, beside_brush: what checks and work say of
    each.
    """

    ripple: np.ndarray
    load: np.ndarray
    brush: np.ndarray
    load_noise: np.ndarray
    ripple_noise: np.ndarray
    brush_noise: np.ndarray
    starved: np.ndarray | bool
    leak: np.ndarray
    flow: Flow
    leak_flow: Flow
    beside_load: Hints
    beside_leak: Hints
    beside_ripple: Hints
    beside_brush: Hints

    @property
    def told(self) -> np.ndarray:
        """Whether a visit says anything: a load, a ripple, a speed, a delivery or what a check found."""
        read = (self.ripple, self.load, self.brush, self.flow.y, self.leak_flow.y)
        found = (of.odds != 0 for of in (self.beside_load, self.beside_ripple, self.beside_brush))
        return np.any([*(~np.isnan(y) for y in read), *found], axis=0)


def covariates(visits: pd.DataFrame, pumps: pd.DataFrame) -> np.ndarray:
    """Return (n, 3): ln V/V0, ln P/P0, (T - 25)/100; NaN where not recorded."""
    pump = visits["pump"].to_numpy(int)
    volts_0 = pumps["reference_v"].to_numpy(float)[pump]
    rated = pumps["rated_pressure_kpa"].to_numpy(float)[pump]
    pressure = visits["fuel_pressure_kpa"].to_numpy(float)
    unrated = np.isnan(rated) & ~np.isnan(pressure)
    if unrated.any():  # against the usual pressure of the type
        usual = visits.groupby(pumps["pump_type"].to_numpy()[pump])["fuel_pressure_kpa"].transform("median")
        rated = np.where(unrated, usual.to_numpy(float), rated)
    volts = visits["supply_v"].to_numpy(float) - lost_on_the_way(visits)
    volts = np.where(volts < LEAST_VOLTS * volts_0, np.nan, volts)
    return np.column_stack(
        [
            np.where(np.isnan(volts), np.nan, log_volts_ratio(volts, volts_0)),
            np.where(np.isnan(pressure), np.nan, log_ratio(pressure, rated)),
            (visits["fuel_temp_c"].to_numpy(float) - 25.0) / 100.0,
        ]
    )


def lost_on_the_way(visits: pd.DataFrame) -> np.ndarray:
    """Return the volts that supply and ground lose beyond the usual between the pump and where volts were
    read, or where nobody read them the source, (visits,); a drop that is not told is the usual one."""
    if "drop_supply_v" not in visits:
        return np.zeros(len(visits))
    drops = visits[["drop_supply_v", "drop_ground_v"]].fillna(USUAL_DROPS_V / 2).to_numpy(float).sum(axis=1)
    away = (visits["supply_v_at"].isin(["battery", "scan"]) | visits["supply_v"].isna()).to_numpy()
    return np.where(away & (drops > USUAL_DROPS_V), drops - USUAL_DROPS_V, 0.0)


def nominal() -> Exponents:
    """Return what is believed before any data."""
    return Exponents(
        {m.name: NOMINAL_EXPONENTS.get(m.name, np.zeros(3)) for m in trended()},
        {m.name: NOMINAL_CIRCUMSTANCES.get(m.name, np.zeros(len(CIRCUMSTANCES))) for m in trended()},
        {},
    )


def circumstances(visits: pd.DataFrame) -> np.ndarray:
    """Return (n, len(CIRCUMSTANCES)), NaN where not told; full feed in one state where visits don't say."""
    state = _states(visits)
    drive = (visits[name] if name in visits else np.zeros(len(visits)) for name in CIRCUMSTANCES[:2])
    return np.column_stack([*drive, state.eq("prime"), state.eq("loaded")]).astype(float)


def _states(visits: pd.DataFrame) -> pd.Series:
    return visits["state"] if "state" in visits else pd.Series("", visits.index)


def values(visits: pd.DataFrame, which: str = "usable") -> dict[str, np.ndarray]:
    """Return each trended metric of usable (or comparable) visits (ln of the relative ones), NaN
    elsewhere."""
    usable = visits[which if which in visits else "usable"].to_numpy(bool)
    out = {}
    for m in trended():
        value = visits[m.name].to_numpy(float)
        with np.errstate(invalid="ignore", divide="ignore"):
            value = np.log(value) if m.relative else value
        out[m.name] = np.where(usable & np.isfinite(value), value, np.nan)
    return out


def fit_exponents(visits: pd.DataFrame, pumps: pd.DataFrame) -> Exponents:
    """Estimate the exponents by robust ridge regression on within-pump differences, shrunk to the nominal.

    Of more than ENOUGH_PUMPS pumps every second, third and so on is looked at: the rest would move nothing.
    """
    if len(pumps) > ENOUGH_PUMPS:
        step = -(-len(pumps) // ENOUGH_PUMPS)
        visits = visits[visits["pump"].to_numpy(int) % step == 0].reset_index(drop=True)
    x = np.column_stack([covariates(visits, pumps), circumstances(visits)])
    state_volts = usual_volts(x[:, 0], _states(visits))
    x[:, 0] = _fed_volts(x[:, 0], state_volts, visits, pumps)
    y = values(visits, "comparable")
    pump = visits["pump"].to_numpy()
    same = pump[1:] == pump[:-1]
    dx = np.where(np.isnan(np.diff(x, axis=0)), 0.0, np.diff(x, axis=0))[same]
    found, beside = {}, {}
    for m in trended():
        usual = np.append(nominal().of[m.name], nominal().beside[m.name])
        found[m.name], beside[m.name] = usual[:3], usual[3:]
        if not m.open_exponents:
            continue
        dy = np.diff(y[m.name])[same]
        ok = np.isfinite(dy) & (np.abs(dx).sum(1) > 0)
        moved, _ = fit_plane_robustly(
            dx[ok], dy[ok] - dx[ok] @ usual, prior_sd=m.open_exponents, least_sd=m.scatter
        )
        found[m.name], beside[m.name] = (usual + moved)[:3], (usual + moved)[3:]
    seen = _seen(x[:, 3:], pump, visits, pumps)
    return Exponents(found, beside, state_volts, usual_flow(visits, pumps), seen)


def _seen(
    aside: np.ndarray, pump: np.ndarray, visits: pd.DataFrame, pumps: pd.DataFrame
) -> dict[str, np.ndarray]:
    """Return Exponents.seen from circumstances (visits, 4)."""
    ok = ~np.isnan(aside).any(1) & visits["comparable" if "comparable" in visits else "usable"].to_numpy(bool)
    aside, pump = aside[ok], pump[ok]
    name = pumps["pump_type"].astype(str).to_numpy()[pump]
    step = np.append(np.diff(aside, axis=0), np.zeros((1, aside.shape[1])), axis=0)[: len(aside)]
    step[np.append(pump[1:] != pump[:-1], True)[: len(pump)]] = 0.0
    made = {}
    for kind in np.unique(name):
        mine = name == kind
        went = [len(np.unique(pump[mine & (step[:, k] != 0)])) for k in range(aside.shape[1])]
        steps = np.where(np.array(went) < FEW_PUMPS, 0.0, (step[mine] ** 2).sum(0))
        made[str(kind)] = np.array([np.median(aside[mine], axis=0), steps])
    return made


def opened(
    aside: np.ndarray,
    visits: pd.DataFrame,
    pumps: pd.DataFrame,
    exponents: Exponents,
    last: np.ndarray | None = None,
) -> dict[str, np.ndarray]:
    """Return by metric the variance (visits,) by which nobody knows how a visit's circumstances (visits, 4)
    shift it from those before, a pump's first from its type's usual ones.

    Sum over circumstances of change^2 / (1/open^2 + steps/(2 scatter^2)), one at a time, steps being the sum
    of squared changes that readings of one pump of the type went through. last:
    circumstances (pumps, 4) of readings before these, NaN for none.
    """
    read = visits["comparable" if "comparable" in visits else "usable"].to_numpy(bool)
    aside, pump = aside[read], visits["pump"].to_numpy(int)[read]
    code, names = pd.factorize(pumps["pump_type"].astype(str))
    none = np.zeros((2, len(CIRCUMSTANCES)))
    of_type = np.array([exponents.seen.get(str(name), none) for name in names]).reshape(-1, *none.shape)
    usual, steps = (of_type[code[pump], row] for row in range(2))
    first = np.append(True, pump[1:] != pump[:-1])[: len(pump)]
    start = usual if last is None else np.where(np.isnan(last[pump]), usual, last[pump])
    before = np.where(first[:, None], start, np.roll(aside, 1, axis=0))
    change = np.zeros((len(read), aside.shape[1]))
    change[read] = (aside - before) ** 2
    around = np.zeros(change.shape)
    around[read] = steps
    return {
        m.name: (change / (1 / (OPEN * m.open_exponents) ** 2 + around / (2 * m.scatter**2))).sum(1)
        for m in trended()
        if m.open_exponents
    }


def usual_volts(volts: np.ndarray, state: pd.Series) -> dict[str, float]:
    """Return the median of ln V/V0 by engine state, where FEW_VOLTS readings tell it."""
    told = pd.Series(volts).groupby(state.to_numpy()).agg(["median", "count"])
    of_state = {str(s): float(v) for s, v in told["median"][told["count"] >= FEW_VOLTS].items()}
    return of_state | ({} if np.isnan(volts).all() else {ANY_STATE: float(np.nanmedian(volts))})


def last_covariates(visits: pd.DataFrame, pumps: pd.DataFrame) -> np.ndarray:
    """Return each pump's last ln V/V0 and ln P/P0 where told, (pumps, 2), NaN without any."""
    pump, x = visits["pump"].to_numpy(int), covariates(visits, pumps)
    out = np.full((len(pumps), 2), np.nan)
    for k in range(2):
        told = np.flatnonzero(~np.isnan(x[:, k]))
        out[pump[told], k] = x[told, k]  # later ones stay
    return out


def _opened_by(
    x: np.ndarray, pump: np.ndarray, usual_volts: float, last: np.ndarray | None
) -> dict[str, np.ndarray]:
    """Return by channel the variance (visits,) by which nobody knows what a change of ln V/V0 or ln P/P0, x
    (visits, 2), beyond the usual does to this very pump; a pump's first is held against `last` (pumps, 2)
    or, where that is not told, against the usual volts and the rated pressure."""
    beyond = np.zeros((len(x), 2))
    for k, usual in enumerate((usual_volts, 0.0)):
        told = np.flatnonzero(~np.isnan(x[:, k]))
        of, value = pump[told], x[told, k]
        first = np.append(True, of[1:] != of[:-1])[: len(of)]
        start = np.full(len(of), usual) if last is None else np.nan_to_num(last[of, k], nan=usual)
        change = np.abs(value - np.where(first, start, np.roll(value, 1)))
        beyond[told, k] = np.maximum(change - USUAL_CHANGE, 0.0)
    return {name: beyond**2 @ sd**2 for name, sd in OWN_EXPONENT_SD.items()}


def _fed_volts(
    volts: np.ndarray, state_volts: dict[str, float], visits: pd.DataFrame, pumps: pd.DataFrame
) -> np.ndarray:
    """Return ln V/V0 of what the drive passes, V untold being that of the state less what is lost on the
    way."""
    untold = np.isnan(volts)
    volts = np.where(untold, _states(visits).map(state_volts).to_numpy(float), volts)
    feed = np.exp(np.nan_to_num(circumstances(visits)[:, 0]))
    reference = pumps["reference_v"].to_numpy(float)[visits["pump"].to_numpy(int)]
    supply = BRUSH_DROP_V + (reference - BRUSH_DROP_V) * np.exp(volts)
    lost = np.where(untold, lost_on_the_way(visits), 0.0)
    supply = supply - lost
    volts = np.where(lost > 0, log_volts_ratio(supply, reference), volts)
    return np.where(feed < 1, log_volts_ratio(supply * feed, reference), 0.0) + np.where(feed < 1, 0.0, volts)


def last_circumstances(visits: pd.DataFrame, pumps: pd.DataFrame) -> np.ndarray:
    """Return what each pump's last reading was taken in, (pumps, 4), NaN without one."""
    read = np.flatnonzero(visits["comparable" if "comparable" in visits else "usable"].to_numpy(bool))
    out = np.full((len(pumps), len(CIRCUMSTANCES)), np.nan)
    out[visits["pump"].to_numpy(int)[read]] = np.nan_to_num(circumstances(visits)[read])  # later ones stay
    return out


def channels(
    visits: pd.DataFrame,
    pumps: pd.DataFrame,
    exponents: Exponents,
    last: np.ndarray | None = None,
    last_read: np.ndarray | None = None,
) -> Channels:
    """Return ripple, load and brush channels of every visit; last: `last_circumstances` before these,
    last_read: `last_covariates` of them."""
    x = covariates(visits, pumps)
    y = values(visits, "comparable")
    told = ~np.isnan(x[:, 0])
    usual = exponents.state_volts.get(ANY_STATE, 0.0)
    pump = visits["pump"].to_numpy(int)
    by_change = _opened_by(x[:, :2], pump, usual, last_read)
    # A pressure that fell is an outcome of a leak: nothing is corrected for it there, so nothing is unsure.
    last_leak = None if last_read is None else np.maximum(last_read, NO_FALL)
    for_leak = _opened_by(np.maximum(x[:, :2], NO_FALL), pump, usual, last_leak)
    x[:, 0] = _fed_volts(x[:, 0], exponents.state_volts, visits, pumps)
    aside = circumstances(visits)
    fed = ~np.isnan(aside[:, 0])
    known, aside = np.where(np.isnan(x), 0.0, x), np.where(np.isnan(aside), 0.0, aside)

    def left(name: str) -> np.ndarray:
        return y[name] - known @ exponents.of[name] - aside @ exponents.beside[name]

    ln_a, ln_rpm = left("mean_a"), left("rpm")
    # Without a speed, current alone tells the load at the usual speed: a tenth less of a drag, more noise.
    no_speed = np.isnan(ln_rpm)
    load = ln_a - exponents.load_ratio * np.where(no_speed, np.log(USUAL_RPM), ln_rpm)
    odd = pressure_far_above(visits, pumps, exponents.flow)
    load = np.where(no_speed & ~fed | odd, np.nan, load)
    # A slow reading on unknown volts may be the battery: no brush channel then.
    brush = np.where(np.isnan(x[:, 0]) | ~fed, np.nan, -(ln_rpm + LOAD_SPEED * load))
    other = np.where((aside[:, 1:] > 0).any(1) | (aside[:, 0] < 0), OTHER_STATE, 1.0)
    noise = np.where(np.isnan(x[:, 1]), PRESSURE_UNTOLD, 1.0) * np.where(
        visits["by_meter"].to_numpy(bool), 4.0, 1.0
    )
    noise *= np.where(no_speed, np.where(np.isnan(x[:, 0]), 3.0, 2.0), 1.0)
    noise *= np.where(visits["filter_in_doubt"].to_numpy(bool), FILTER_IN_DOUBT, 1.0)
    level = visits["fuel_level_pct"].to_numpy(float) if "fuel_level_pct" in visits else np.nan
    starved = level < LOW_TANK_PCT
    brush_noise = np.where(told, 1.0, VOLTS_UNTOLD) * other
    shifted = opened(aside, visits, pumps, exponents, last)
    opens = {
        "ripple": shifted["ripple_pct"],
        "load": shifted["mean_a"] + exponents.load_ratio**2 * shifted["rpm"],
    }
    opens["brush"] = shifted["rpm"] + LOAD_SPEED**2 * opens["load"] + by_change["brush"]
    mended = visits["worked_flow"].to_numpy(float) if "worked_flow" in visits else 0.0
    by_work = opens["load"] + MENDED_SD**2 * mended
    unsaid = visits["unsaid_work"].to_numpy(float) if "unsaid_work" in visits else 0.0
    opens |= {"load": by_work + by_change["load"], "leak": by_work + for_leak["load"]}
    opens = {name: of + UNSAID_WORK_SD[name] ** 2 * unsaid for name, of in opens.items()}
    of_pressure = exponents.of["mean_a"][1] - exponents.load_ratio * exponents.of["rpm"][1]
    leak = load + of_pressure * np.minimum(known[:, 1], 0.0)
    beside = {of: hints(visits, of) for of in set(SHOWS_IN.values())}
    return Channels(
        left("ripple_pct"), load, brush, noise * other, other, brush_noise, starved, leak,
        *flow(visits, pumps, exponents.flow),
        *(beside[of]._replace(opened=opens[name]) for name, of in SHOWS_IN.items()),
    )  # fmt: skip
