"""What nobody in the fleet can see: states, lives left, what an all-seeing owner would expect and do.

All-seeing means: sees every pump's damage, its rate of growth and the lot, and knows the laws; does not see
a pump's own level of failure, sudden ends, fitting faults, damage that has not begun, or future use.
Foresight means: knows the day of failure.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from scipy.special import ndtr

from . import causes, lives
from .designs import LIFE, MECHANISMS, SEEN, SUDDEN
from .jobs import JOBS
from .readings import STANDS_OUT

if TYPE_CHECKING:
    from .run import Run
    from .world import World


def truth(run: Run, ahead_km: float | np.ndarray | None = None) -> pd.DataFrame:
    """The hidden state of every unit in service at `run.today`.

    Columns: unit, pump (number of the life), design (index), mechanism, fail_day, fail_date, fail_odometer,
    remaining_km, remaining_days (all if left alone), risk (all-seeing, over `ahead_km` or the class's
    interval), is_bad_lot, damage_… (share of the pump's own level), beside_… (severity by cause).
    """
    fleet, day = run.fleet, run.today
    u = np.flatnonzero((fleet.in_service <= day) & (fleet.retires > day))
    own = run.lives.take(u)
    at = np.full(u.size, float(day))
    now_km, end_km = fleet.km.at(u, at), fleet.km.at(u, own.fail_day)
    hurt = lives.damage(fleet, run.world.kind, own, u, at)
    level = causes.severity(fleet, run.world.arrivals, run.beside, u, at)
    ahead = fleet.pm_km(u) if ahead_km is None else np.broadcast_to(ahead_km, u.shape)
    fails = np.minimum(np.floor(own.fail_day), 90_000)
    frame = pd.DataFrame(
        {
            "unit": fleet.names[u],
            "pump": own.number,
            "design": own.design,
            "mechanism": np.array(MECHANISMS)[own.mechanism],
            "fail_day": fails.astype(int),
            "fail_date": (np.datetime64("2020-01-06") + fails.astype("timedelta64[D]")).astype(
                "datetime64[s]"
            ),
            "fail_odometer": fleet.odometer0[u] + end_km,
            "remaining_km": end_km - now_km,
            "remaining_days": own.fail_day - day,
            "risk": all_seeing_risk(run.world, own, u, at, ahead),
            "is_bad_lot": own.is_bad,
        }
    )
    for i in range(SEEN):
        frame["damage_" + MECHANISMS[i]] = hurt[:, i] / own.level[:, i]
    for i, name in enumerate(causes.CAUSES):
        frame["beside_" + name] = level[:, i]
    return frame


def all_seeing_risk(world: World, own: lives.Lives, u, day, ahead_km) -> np.ndarray:
    """Chance that the pump fails within `ahead_km`, to one who sees its damage (module docstring)."""
    fleet, kind = world.fleet, world.kind
    run_km = np.maximum(fleet.km.at(u, day), 1000.0)
    rate = lives.stress_at(fleet, u, day) / run_km[:, None]  # stress a km, so far
    more = (np.asarray(ahead_km)[:, None] * rate)[:, lives.GROUP]
    seen = lives.exposure(fleet, own, u, day)
    since = seen - own.onset
    power, spread = np.array(kind.power), kind.level_spread
    now = own.jump + (np.maximum(since, 0) / own.growth) ** power
    then = own.jump + (np.maximum(since + more, 0) / own.growth) ** power
    with np.errstate(divide="ignore"):
        low, high = ndtr(np.log(now) / spread), ndtr(np.log(then) / spread)
    going = np.where(since > 0, (high - low) / np.maximum(1 - low, 1e-9), 0.0)
    # Not begun: it begins somewhere in the distance ahead and runs through within half of it.
    scale, shape = 1000 * np.array(kind.onset) * LIFE[own.design][:, :SEEN], np.array(kind.shape)
    by = lives.bad_lot(fleet, kind).mechanism
    scale = np.where(own.is_bad[:, None] & (np.arange(SEEN) == by), scale * kind.bad_life, scale)
    hazard = ((seen + more) / scale) ** shape - (seen / scale) ** shape
    quick = (
        np.log(more / 2) - np.log(1000 * np.array(kind.growth)) - np.log(1 - np.array(kind.jump) / 2) / power
    )
    quick = ndtr(quick / np.hypot(np.array(kind.growth_spread), spread / power))
    fresh = np.where(since <= 0, -np.expm1(-hazard) * quick, 0.0)
    sudden = -np.expm1(
        -np.asarray(ahead_km) * rate[:, 3] / (1000 * kind.sudden * LIFE[own.design][:, SUDDEN])
    )
    young = np.clip(lives.COMEBACK_KM - (fleet.km.at(u, day) - own.start_km), 0, ahead_km) / lives.COMEBACK_KM
    fault = lives.FITTING_FAULT * young * (own.number > 0)
    return 1 - np.prod(1 - going, axis=1) * np.prod(1 - fresh, axis=1) * (1 - sudden) * (1 - fault)


def at_visits(run: Run) -> pd.DataFrame:
    """The truth behind every planned stop so far, for judging forecasts made there.

    Columns: u, unit, day, pump, got (a capture was taken), remaining_km (if left alone), ahead_km (the
    class's interval), risk (all-seeing), fails (within ahead_km), mechanism, fitted_day, fail_day, abnormal
    (2 units of noise or more off the pump's own level, without scatter), beside (the larger part of it is
    not the pump's).
    """
    world, fleet = run.world, run.fleet
    v = run.log.columns("visits")
    rows = np.flatnonzero(v["reason"] == 0)
    u, day, number = v["u"][rows], v["day"][rows].astype(float), v["pump"][rows]
    own = past_lives(run, u, number)
    ahead = fleet.pm_km(u)
    left = fleet.km.at(u, own.fail_day) - fleet.km.at(u, day)
    pump, aside = v["pump_part"][rows], v["beside_part"][rows]
    total = np.abs(pump + aside).max(axis=1)
    return pd.DataFrame(
        {
            "u": u,
            "unit": fleet.names[u],
            "day": day.astype(int),
            "pump": number,
            "got": v["got"][rows],
            "remaining_km": left,
            "ahead_km": ahead,
            "risk": all_seeing_risk(world, own, u, day, ahead),
            "fails": left <= ahead,
            "mechanism": np.array(MECHANISMS)[own.mechanism],
            "fitted_day": own.fitted.astype(int),
            "fail_day": np.floor(own.fail_day).astype(int),
            "abnormal": total >= STANDS_OUT,
            "beside": np.abs(aside).max(axis=1) > np.abs(pump).max(axis=1),
        }
    )


def past_lives(run: Run, u: np.ndarray, number: np.ndarray) -> lives.Lives:
    """The pumps of that number on those units: lives are functions of unit, number and day of fitting."""
    f = run.log.columns("fitted")
    order = np.lexsort((f["number"], f["u"]))
    key = f["u"][order] * 1000 + f["number"][order]
    fitted = f["day"][order][np.searchsorted(key, u * 1000 + number)]
    return lives.born(run.fleet, run.world.kind, u, number, fitted.astype(float))


def all_lives(run: Run) -> pd.DataFrame:
    """Every life on the fleet since day 0, recorded or not: unit, pump, design, lot, fitted and removed day,
    how it ended (failed, taken off, running), when and by what it would have failed, whether its fitting went
    unrecorded."""
    f, r = run.log.columns("fitted"), run.log.columns("removed")
    frame = pd.DataFrame(
        {key: f[key] for key in ("u", "number", "design", "lot", "is_bad", "day", "fail_day")}
    )
    frame["mechanism"] = np.array(MECHANISMS)[f["mechanism"]]
    frame["unrecorded"] = f["lost"]
    ended = pd.DataFrame({"u": r["u"], "number": r["number"], "removed_day": r["day"], "failed": r["failed"]})
    frame = frame.merge(ended, on=["u", "number"], how="left").rename(columns={"day": "fitted_day"})
    frame["end"] = np.where(
        frame["removed_day"].isna(), "running", np.where(frame["failed"] == 1, "failed", "taken off")
    )
    frame.insert(0, "unit", run.fleet.names[frame["u"]])
    return frame.drop(columns=["failed"]).rename(columns={"number": "pump"})


def checks(run: Run) -> pd.DataFrame:
    """Every check so far with the truth behind it.

    Columns: unit, day, pump, job, cause (the severest beside the pump before it, "" where none passes .2),
    severity, named ("" none), truly (what is named was there), tank_opened, changed, remaining_km (the pump's
    then, if left alone), mechanism.
    """
    c = run.log.columns("checks")
    if not c:
        return pd.DataFrame(columns=["unit", "day", "pump", "job", "cause", "named", "truly", "changed"])
    own = past_lives(run, c["u"], c["pump"])
    worst, words = c["there"].max(axis=1), np.array(causes.CAUSES, dtype=object)
    left = run.fleet.km.at(c["u"], own.fail_day) - run.fleet.km.at(c["u"], c["day"].astype(float))
    return pd.DataFrame(
        {
            "unit": run.fleet.names[c["u"]],
            "day": c["day"],
            "pump": c["pump"],
            "job": np.array(JOBS)[c["job"]],
            "cause": np.where(worst > 0.2, words[c["there"].argmax(axis=1)], ""),
            "severity": worst,
            "named": np.where(c["named"] >= 0, words[np.maximum(c["named"], 0)], ""),
            "truly": c["truly"],
            "tank_opened": c["opened"],
            "changed": c["changed"],
            "remaining_km": left,
            "mechanism": np.array(MECHANISMS)[own.mechanism],
        }
    )


def end_credit(run: Run) -> pd.DataFrame:
    """What the life left is worth at `run.today`, by unit: unit, remaining_km, new_km, credit.

    A pump is worth the price of a planned change times its remaining distance (if left alone, at most to the
    vehicle's retirement) over what a new pump would run there: the mean of 40 lives that might have been
    fitted today. So changing every pump on the last day earns nothing; a pump about to fail is worth nothing.
    """
    fleet, day = run.fleet, run.today
    u = np.flatnonzero((fleet.in_service <= day) & (fleet.retires > day))
    at = np.full(u.size, float(day))
    now = fleet.km.at(u, at)
    last = np.where(
        np.isinf(fleet.retires[u]), np.inf, fleet.km.at(u, np.minimum(fleet.retires[u], 1e6)) - now
    )
    left = np.minimum(fleet.km.at(u, run.lives.fail_day[u]) - now, last)
    new = np.zeros(u.size)
    for trial in range(40):
        other = lives.born(fleet, run.world.kind, u, np.full(u.size, 900 + trial), at)
        new += np.minimum(fleet.km.at(u, other.fail_day) - now, last) / 40
    credit = run.world.prices.planned * np.minimum(left / np.maximum(new, 1.0), 2.0)
    return pd.DataFrame({"unit": fleet.names[u], "remaining_km": left, "new_km": new, "credit": credit})


def all_seeing_orders(run: Run, worth: float | None = None) -> list[dict]:
    """What an all-seeing owner orders now, for the units that stand at a stop: a change where the chance to
    fail within one interval, times what a failure costs more, exceeds the price of the life thrown away.

    For a loop: step to a day with hold, give these for `now`, step on. worth: factor on the risk (1).
    """
    state = truth(run)
    return _orders(run, state, state["risk"].to_numpy() * (worth or 1.0), seen_left(run, state))


def seen_left(run: Run, state: pd.DataFrame) -> np.ndarray:
    """Share of a new pump's life that an all-seeing owner expects to be left: 1 less its worst damage."""
    hurt = state[["damage_" + name for name in MECHANISMS[:SEEN]]].to_numpy().max(axis=1)
    return np.clip(1 - hurt, 0.0, 1.0)


def foresight_orders(run: Run) -> list[dict]:
    """What an owner orders who knows the day: change where the pump fails before the next planned stop."""
    state = truth(run)
    following = next_stops(run, state["unit"])
    fails = (state["fail_day"].to_numpy() <= following).astype(float)
    return _orders(run, state, fails, np.zeros(len(state)))


def next_stops(run: Run, names: pd.Series) -> np.ndarray:
    """The day of each unit's next planned stop after today, as it will be made; else 120 days on."""
    where = {name: i for i, name in enumerate(run.fleet.names)}
    u = np.array([where[name] for name in names])
    stops = np.where(run.fleet.stops[u] > run.today, run.fleet.stops[u], np.inf)
    following = stops.min(axis=1)
    return np.where(np.isinf(following), run.today + 120, following)


def _orders(run: Run, state: pd.DataFrame, risk: np.ndarray, left: np.ndarray) -> list[dict]:
    prices = run.world.prices
    gain = risk * (prices.failure - prices.planned)
    pays = gain > left * prices.planned
    held = {run.fleet.names[i]: int(run.held[i]) for i in np.flatnonzero(~np.isnan(run.held))}
    return [
        {"unit": name, "day": held[name], "job": "change", "own_stop": False}
        for name, yes in zip(state["unit"], pays, strict=True)
        if yes and name in held
    ]
