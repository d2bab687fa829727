"""The ledger's past as arrays: what was known by the as-of date and nothing later.

The clock of a pump is its own distance in km (prior distance + share of the unit's). Units that run by hours
count so many km for each hour as the setting `idle_hour_miles` says, so that all pumps share one scale.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, timedelta
from pathlib import Path

import duckdb
import numpy as np
import pandas as pd

from analytics.past.common_steps import Step, without_common_steps
from analytics.past.first_points import with_first_points
from analytics.past.frames import among, as_frame, fetch, fetch_visits
from analytics.past.own_first_readings import held_against_own
from analytics.past.repeats import as_one_reading
from analytics.past.signs import FLOW_WORK, SUPPLY_WORK, checked
from ingest.ledger.connection import open_ledger
from ingest.ledger.newest_fact import newest_fact
from ingest.ledger.settings import settings_at
from ingest.metrics import trended
from ingest.settings_in_force import Settings, by_name
from ingest.trade_numbers import DEFAULTS, KM_PER_DAY
from ingest.units import KM_PER_MILE

EPOCH = date(1970, 1, 1)
CLASS_DAYS = 60.0  # the class's usual daily distance weighs as much as this many days of own odometers
FLEET_LIMITS = ("ripple_limit_pct", "rpm_low", "rpm_high")  # hold where a pump's type has none
FULL_DUTY_STEP = 20  # of 5 points; also where the duty is not told
OLD_FILTER = 1.25  # times the usual distance between changes: older ones mean changes not on record
FEW_CHANGES = 5  # pairs of changes from which a usual distance may be told
RATE_DAYS = 730  # own daily distance is taken over this long


@dataclass(frozen=True)
class History:
    """Lives and readings known on `as_of_day` (days since 1970).

    pumps: one row per life begun by then: pump_id, unit, position, pump_type, lot, class, depot, clock,
    entry_km (records begin here), now_km (distance at the as-of date or at removal), removed, failed (bool),
    removal, found, ripple_limit_pct, rpm_low, rpm_high (of the type, else the fleet's), reference_v (at which
    readings are compared), fitted_odometer_km, age_known, km_per_day (of the pump's own clock),
    unit_km_per_day, odometer_km (as-of), first_life.
    visits: one row per visit in order of pump and clock: `pump` (row number in pumps), day, x_km, filter_km
    (since the filter was new), worked (work on the unit is on record since the pump's last visit),
    worked_flow and worked_supply (the same of work on what feeds it fuel and volts that no check led to),
    unsaid_work (it follows a repair of which nothing is on record since the pump's last visit),
    same_day (the pump was read that day before), unmoved (its current changed, its speed did not follow),
    filter_in_doubt (a change not on record may have come before or not), usable (may enter the trend),
    comparable (may be held against the others once state and drive are allowed for), ln_feed (what the drive
    passes of the supply's volts, natural log, NaN where it varies and nobody said), low_speed (0 or 1,
    commanded of a two-speed supply), metrics and covariates.
    settings: those in force on the as-of day.
    common_steps: what was taken off the metrics, as the readings of many pumps did it together.
    """

    as_of_day: int
    pumps: pd.DataFrame
    visits: pd.DataFrame
    settings: Settings = field(default_factory=lambda: DEFAULTS)
    common_steps: tuple[Step, ...] = ()

    @property
    def as_of(self) -> date:
        """The as-of date."""
        return date.fromordinal(EPOCH.toordinal() + self.as_of_day)


def failed_on_record(pumps: pd.DataFrame) -> pd.Series:
    """Return which of History.pumps failed while their units' failures were written down (bool): others count
    for no life, since nobody said what else happened before."""
    return pumps["failed"] & (pumps["now_km"] > pumps["entry_km"])


def load_history(ledger: Path, as_of: date | None = None) -> History:
    """Read the ledger's past up to `as_of` (default: the last fact that isn't ahead; without one, today)."""
    with open_ledger(ledger) as connection:
        return read_history(connection, as_of)


def read_history(connection: duckdb.DuckDBPyConnection, as_of: date | None = None) -> History:
    """As `load_history`, on an open connection."""
    pumps = fetch(connection, "history_pumps")
    visits = as_frame(fetch_visits(connection, "history_visits", [as_of]))
    points, filters = (fetch(connection, f"history_{name}", [as_of]) for name in ("odometers", "filters"))
    day = ((as_of or newest_fact(connection) or date.today()) - EPOCH).days
    settings = settings_at(connection, EPOCH + timedelta(days=day))
    return build_history(pumps, visits, points, filters, day, settings)


def build_history(
    pumps: pd.DataFrame,
    visits: pd.DataFrame,
    points: pd.DataFrame,
    filters: pd.DataFrame,
    as_of_day: int,
    settings: Settings = DEFAULTS,
) -> History:
    """Put the ledger's rows on the pumps' own clocks; settings: those of the as-of day."""
    pumps = _fill_fitting(pumps, visits)
    pumps = pumps.fillna({name: float(by_name(settings, name)) for name in FLEET_LIMITS})
    pumps["reference_v"] = float(settings["reference_supply_v"]) * pumps["system_v"].to_numpy(float) / 12.0
    pumps = pumps[pumps["fitted_day"].fillna(as_of_day) <= as_of_day].reset_index(drop=True)
    gone = pumps["removed_day"].notna() & (pumps["removed_day"] <= as_of_day)
    pumps["removed"] = gone
    pumps.loc[~gone, ["removed_day", "removed_odometer_km", "removed_hours"]] = np.nan
    pumps.loc[~gone, ["removal", "found"]] = None
    # Taken for the breakdown's cause but good on the bench: the pump's life was cut short, not ended.
    pumps["failed"] = gone & (pumps["removal"] == "failed") & (pumps["found"] != "tested_good")

    km_per_hour = float(settings["idle_hour_miles"]) * KM_PER_MILE
    by_hours = (pumps["clock"] == "hours").to_numpy()
    read_once = among(pumps["unit"], points["unit"])
    lines = _Lines(with_first_points(points, pumps, as_of_day))
    row = lines.rows(pumps["unit"])
    unit_rate = _daily(lines.rate[row], lines.days[row], pumps["class"], ~by_hours, KM_PER_DAY)
    hour_rate = _daily(
        lines.hour_rate[row], lines.days[row], pumps["class"], by_hours, KM_PER_DAY / km_per_hour
    )
    day_rate = np.where(by_hours, hour_rate * km_per_hour, unit_rate)
    share = pumps["run_share"].to_numpy(float)
    at_fitting = lines.at(row, pumps["fitted_day"].to_numpy(float), unit_rate)
    fitted = _first(pumps["fitted_odometer_km"], at_fitting)
    end_day = pumps["removed_day"].fillna(as_of_day).to_numpy(float)
    end = _first(pumps["removed_odometer_km"], lines.at(row, end_day, unit_rate))
    fitted_hours = _first(
        pumps["fitted_hours"], lines.at(row, pumps["fitted_day"].to_numpy(float), hour_rate, hours=True)
    )
    end_hours = _first(pumps["removed_hours"], lines.at(row, end_day, hour_rate, hours=True))
    begun = np.where(by_hours, fitted_hours * km_per_hour, fitted)
    ended = np.where(by_hours, end_hours * km_per_hour, end)
    begun = np.where(np.isnan(begun), 0.0, begun)
    prior = pumps["prior_km"].to_numpy(float)

    # Nobody knows when these were fitted: they may have run any part of what the unit had run by then.
    unknown = ~pumps["age_known"].to_numpy(bool)
    visits = visits.assign(pump=_codes(visits["pump_id"], pumps["pump_id"]))
    visits = visits[visits["pump"] >= 0].reset_index(drop=True)
    code = visits["pump"].to_numpy(int)
    read = np.where(
        by_hours[code], visits["hours"].to_numpy(float) * km_per_hour, visits["odometer_km"].to_numpy(float)
    )
    # An odometer in question is replaced by what the unit's other odometers say of that day.
    doubtful = np.isnan(read) | (~visits["in_trend"].to_numpy(bool) & ~by_hours[code])
    guess = np.where(
        by_hours[code],
        lines.at(row[code], visits["day"].to_numpy(float), hour_rate[code], hours=True) * km_per_hour,
        lines.at(row[code], visits["day"].to_numpy(float), unit_rate[code]),
    )
    read = np.where(doubtful, guess, read)
    first_read = pd.Series(read).groupby(code).min().reindex(np.arange(len(pumps))).to_numpy()
    bound = np.where(np.isnan(first_read), ended, first_read)
    begun = np.where(unknown, bound - np.minimum(0.5 * np.maximum(bound - begun, 0), 80e3), begun)

    now = prior + np.maximum(ended - begun, 0.0) * share
    x = prior[code] + np.maximum(read - begun[code], 0.0) * share[code]
    visits = visits.assign(x_km=np.minimum(x, np.where(np.isnan(now[code]), np.inf, now[code])))
    pumps["km_per_day"] = day_rate * share
    filters = _by_hours(filters, pumps[by_hours], lines, hour_rate[by_hours], km_per_hour)
    visits["filter_km"], visits["filter_in_doubt"] = _since_filter(visits, pumps, filters, begun, share)
    order = np.lexsort([visits["day"], visits["x_km"], visits["pump"]])
    visits = visits.iloc[order].reset_index(drop=True)
    visits["worked"] = _worked(visits, pumps, filters)
    visits["unsaid_work"] = _unsaid_work(visits)
    told_apart = ~np.append(False, checked(visits)[:-1])  # what the last visit's check found is told there
    for name, kinds in (("worked_flow", FLOW_WORK), ("worked_supply", SUPPLY_WORK)):
        some = filters[filters["work"].isin(kinds)]
        visits[name] = _worked(visits, pumps, some) & told_apart
    visits["same_day"] = (visits["pump"].diff() == 0) & (visits["day"].diff() == 0)
    visits["usable"] = _alike(visits)
    visits["comparable"] = _planned(visits)
    visits = as_one_reading(held_against_own(visits, pumps, settings))
    visits, steps = without_common_steps(visits, pumps)

    first_x = visits.groupby("pump")["x_km"].first().reindex(np.arange(len(pumps))).to_numpy()
    records = prior + (lines.at(row, pumps["records_day"].to_numpy(float), unit_rate) - begun) * share
    entry = np.where(pumps["records_day"].notna() & ~by_hours, records, first_x)
    entry = np.where(unknown | np.isnan(entry), np.where(np.isnan(first_x), now, first_x), entry)
    pumps["entry_km"] = np.clip(np.nan_to_num(entry), 0.0, np.nan_to_num(now))
    pumps["now_km"] = np.nan_to_num(now)
    pumps["begun_km"] = begun
    pumps["unit_km_per_day"] = np.where(
        by_hours, np.where(np.isfinite(lines.rate[row]), unit_rate, day_rate), unit_rate
    )
    # A unit that runs by hours stops by hours: its interval is the distance it drives in as many.
    hours = pumps["pm_interval_hours"].to_numpy(float)
    driven = hours * km_per_hour * pumps["unit_km_per_day"].to_numpy(float) / day_rate
    pumps["pm_interval_km"] = pumps["pm_interval_km"].mask(by_hours & (hours > 0), driven)
    pumps["odometer_km"] = np.where(read_once, end, np.nan)
    return History(as_of_day, pumps, visits, settings, steps)


def _fill_fitting(pumps: pd.DataFrame, visits: pd.DataFrame) -> pd.DataFrame:
    """Give a life without fitting date the end of the life before it in the same place, if there is one."""
    first_seen = visits.groupby("pump_id")["day"].min()
    pumps = pumps.assign(seen=pumps["pump_id"].map(first_seen))
    pumps["order"] = pumps["fitted_day"].fillna(pumps["seen"]).fillna(pumps["removed_day"]).fillna(1e9)
    pumps = pumps.sort_values(["unit", "position", "order", "pump_id"]).reset_index(drop=True)
    same = (pumps["unit"] == pumps["unit"].shift()) & (pumps["position"] == pumps["position"].shift())
    pumps["first_life"] = ~same
    pumps["age_known"] = (
        pumps["fitted_day"].notna() | pumps["fitted_odometer_km"].notna() | pumps["fitted_hours"].notna()
    )
    for name, before in (
        ("fitted_day", "removed_day"),
        ("fitted_odometer_km", "removed_odometer_km"),
        ("fitted_hours", "removed_hours"),
    ):
        blank = pumps[name].isna() & same & ~pumps["age_known"]
        pumps[name] = pumps[name].mask(blank, pumps[before].shift())
    pumps["age_known"] |= same & pumps["fitted_day"].notna()
    start = pumps["in_service_day"].fillna(pumps["records_day"]).fillna(pumps["seen"])
    pumps["fitted_day"] = pumps["fitted_day"].fillna(start)
    return pumps.drop(columns=["order"]).sort_values("pump_id").reset_index(drop=True)


class _Lines:
    """Odometer against day of every unit, and its daily distance lately."""

    def __init__(self, points: pd.DataFrame):
        self.units = pd.Index(points["unit"].unique())
        n = len(self.units)
        code = self.units.get_indexer(points["unit"])
        self.km = self._series(points, code, "odometer_km")
        self.hour = self._series(points, code, "hours")
        self.rate, self.days = self._slope(*self.km, n)
        self.hour_rate, hour_days = self._slope(*self.hour, n)
        self.days = np.append(np.maximum(self.days, hour_days), 0.0)
        self.rate, self.hour_rate = np.append(self.rate, np.nan), np.append(self.hour_rate, np.nan)

    @staticmethod
    def _series(
        points: pd.DataFrame, code: np.ndarray, name: str
    ) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        ok = points[name].notna().to_numpy()
        return code[ok], points["day"].to_numpy(float)[ok], points[name].to_numpy(float)[ok]

    @staticmethod
    def _slope(code: np.ndarray, day: np.ndarray, value: np.ndarray, n: int) -> tuple[np.ndarray, np.ndarray]:
        """Least squares of value on day over the unit's last RATE_DAYS; and the days it spans."""
        last = np.full(n, -np.inf)
        np.maximum.at(last, code, day)
        recent = day >= last[code] - RATE_DAYS
        c, d, v = code[recent], day[recent] - last[code[recent]], value[recent]
        count = np.bincount(c, minlength=n)
        with np.errstate(invalid="ignore", divide="ignore"):
            mean_d, mean_v = np.bincount(c, d, n) / count, np.bincount(c, v, n) / count
            dd, dv = d - mean_d[c], v - mean_v[c]
            slope = np.bincount(c, dd * dv, n) / np.bincount(c, dd * dd, n)
        first = np.zeros(n)
        np.minimum.at(first, c, d)
        return np.where(slope > 0, slope, np.nan), -first

    def rows(self, units: pd.Series) -> np.ndarray:
        """Row of each unit; -1 for a unit without any point."""
        return self.units.get_indexer(units)

    def at(self, row: np.ndarray, day: np.ndarray, rate: np.ndarray, *, hours: bool = False) -> np.ndarray:
        """Odometer (or hours) of units `row` on `day`, on straight lines between points, `rate` beyond."""
        code, when, value = self.hour if hours else self.km
        if not len(code):
            return np.full(len(row), np.nan)
        big = 1e7
        key = code * big + when
        after = np.searchsorted(key, row * big + np.nan_to_num(day, nan=0.0))
        low, high = np.clip(after - 1, 0, len(key) - 1), np.clip(after, 0, len(key) - 1)
        has_low, has_high = (code[low] == row) & (after > 0), (code[high] == row) & (after < len(key))
        span = when[high] - when[low]
        part = np.where(span > 0, (day - when[low]) / np.where(span > 0, span, 1), 0.0)
        between = value[low] + part * (value[high] - value[low])
        out = np.where(has_low, value[low] + rate * (day - when[low]), np.nan)
        out = np.where(has_high & ~has_low, np.maximum(value[high] - rate * (when[high] - day), 0.0), out)
        return np.where(has_low & has_high, between, out)


def _daily(
    rate: np.ndarray, days: np.ndarray, classes: pd.Series, counts: np.ndarray, fallback: float
) -> np.ndarray:
    """Own daily distance, pulled toward its class's where own odometers span little."""
    frame = pd.DataFrame({"class": classes.fillna("").to_numpy(), "rate": np.where(counts, rate, np.nan)})
    usual = (
        frame.groupby("class")["rate"]
        .transform("median")
        .fillna(frame["rate"].dropna().median())
        .fillna(fallback)
    )
    own = np.where(np.isfinite(rate), rate, 0.0)
    weight = np.where(np.isfinite(rate), days, 0.0)
    return (own * weight + usual.to_numpy() * CLASS_DAYS) / (weight + CLASS_DAYS)


def _first(value: pd.Series, otherwise: np.ndarray) -> np.ndarray:
    given = value.to_numpy(float)
    return np.where(np.isnan(given), otherwise, given)


def _codes(values: pd.Series, index: pd.Series) -> np.ndarray:
    return pd.Index(index).get_indexer(values)


def _by_hours(
    filters: pd.DataFrame, pumps: pd.DataFrame, lines: _Lines, hour_rate: np.ndarray, km_per_hour: float
) -> pd.DataFrame:
    """Put the changes of units that run by hours (those of `pumps`) on their clock, not the odometer."""
    rate = pd.Series(hour_rate, pumps["unit"]).groupby(level=0).first()
    mine = among(filters["unit"], rate.index)
    if not mine.any():
        return filters
    units = filters.loc[mine, "unit"]
    at = lines.at(
        lines.rows(units),
        filters.loc[mine, "day"].to_numpy(float),
        rate.reindex(units).to_numpy(),
        hours=True,
    )
    out = filters.astype({"odometer_km": float})
    out.loc[mine, "odometer_km"] = at * km_per_hour
    return out


def _since_filter(
    visits: pd.DataFrame, pumps: pd.DataFrame, filters: pd.DataFrame, begun: np.ndarray, share: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Distance since the filter was new: since the pump's fitting or the last change before the visit's day.

    Work is done after the reading of the same stop. A pump change resets the filter unless it was kept.
    Changes before the records begin, or that nobody wrote down, are made up for: the one before a unit's
    first lies this fleet's usual distance back, and a filter said to be much older than that was changed
    every usual distance meanwhile. Also returned is whether a reading lies about such a change (bool): at
    which stop it came, nobody knows.
    """
    x = visits["x_km"].to_numpy(float)
    units = pd.Index(pumps["unit"].unique())
    changes = filters[(filters["work"] == "filter") & (units.get_indexer(pd.Index(filters["unit"])) >= 0)]
    if not len(changes):
        return x, np.zeros(len(x), bool)
    big = 1e7
    key = units.get_indexer(changes["unit"]) * big + changes["day"].to_numpy(float)
    odometer = changes["odometer_km"].to_numpy(float)
    order = np.argsort(key, kind="stable")
    key, odometer = key[order], odometer[order]
    apart = np.diff(odometer)[np.diff(np.floor(key / big)) == 0]
    apart = apart[apart > 0]
    usual = float(np.median(apart)) if len(apart) >= FEW_CHANGES else np.inf
    pump = visits["pump"].to_numpy(int)
    unit = units.get_indexer(pumps["unit"])[pump]
    before = np.searchsorted(key, unit * big + visits["day"].to_numpy(float)) - 1
    has = (before >= 0) & (np.floor(key[np.maximum(before, 0)] / big) == unit)
    at = odometer[np.maximum(before, 0)]
    # Before a unit's first change on record: as if the one before came the usual distance earlier, unless
    # the pump was read while its first filter was not due.
    after = np.minimum(before + 1, len(key) - 1)
    first_x = np.full(len(pumps), np.inf)
    np.minimum.at(first_x, pump, x)
    first = ~has & (np.floor(key[after] / big) == unit) & (first_x[pump] > usual)
    at = np.where(first, odometer[after] - usual, at)
    change_x = np.where(has | first, (at - begun[pump]) * share[pump], 0.0)
    # Without an odometer on the service row: where the pump stood on that day, by its own daily distance.
    change_day = key[np.maximum(before, 0)] - unit * big
    by_day = x - (visits["day"].to_numpy(float) - change_day) * pumps["km_per_day"].to_numpy(float)[pump]
    change_x = np.where(np.isnan(change_x) & has, by_day, change_x)
    age = np.clip(x - np.maximum(np.nan_to_num(change_x), 0.0), 0.0, None)
    old = age > OLD_FILTER * usual
    since_due = np.where(old, age % usual, age)
    near = (OLD_FILTER - 1) * usual
    return since_due, old & ((since_due < near) | (since_due > usual - near))


def _worked(visits: pd.DataFrame, pumps: pd.DataFrame, work: pd.DataFrame) -> np.ndarray:
    """Whether any work on the unit is on record since the pump's last visit, (visits,) bool: that day's work
    is done after a planned stop's reading, and before one that follows it up."""
    units = pd.Index(pumps["unit"].unique())
    code = units.get_indexer(work["unit"])
    big = 1e7
    done = np.sort(code[code >= 0] * big + work["day"].to_numpy(float)[code >= 0])
    pump, day = visits["pump"].to_numpy(int), visits["day"].to_numpy(float)
    unit = units.get_indexer(pumps["unit"])[pump] * big
    after = visits["reason"].isin(["follow-up", "after-repair"]).to_numpy()
    by_now = np.searchsorted(done, unit + day + 0.5 * after)
    by_then = np.append(0, by_now[:-1])
    return (np.append(-1, pump[:-1]) == pump) & (by_now > by_then)


def _unsaid_work(visits: pd.DataFrame) -> np.ndarray:
    """Which visits follow a repair that nobody wrote down, (visits,) bool: no work since the pump's visit
    before, none of that repair's other captures, and not a new pump's first."""
    pump, reason = visits["pump"].to_numpy(int), visits["reason"].to_numpy(object)
    after = reason == "after-repair"
    same = np.append(False, pump[1:] == pump[:-1])[: len(pump)]
    of_one_repair = np.append(False, after[:-1])[: len(pump)]
    return after & same & ~of_one_repair & ~visits["worked"].to_numpy(bool)


def _alike(visits: pd.DataFrame) -> np.ndarray:
    """Which readings may be held against each other: PM stops in the pump's usual state, at its usual
    duty."""
    planned = _planned(visits)
    duty_step = visits["duty_step"].where(visits["duty_step"] >= 0, FULL_DUTY_STEP).to_numpy(float)
    state = pd.factorize(visits["state"], use_na_sentinel=False)[0]
    code = pd.factorize(state * (2.0 * FULL_DUTY_STEP) + duty_step)[0]  # no step is beyond full duty's
    if code.max(initial=0) == 0:
        return planned
    counted = pd.DataFrame({"pump": visits["pump"], "code": code})[planned]
    sizes = counted.groupby(["pump", "code"]).size().reset_index(name="n").sort_values(["pump", "n"])
    usual = sizes.groupby("pump")["code"].last()
    return planned & (visits["pump"].map(usual) == code).to_numpy()


def _planned(visits: pd.DataFrame) -> np.ndarray:
    """Which visits have a reading that nothing but the plan called for."""
    reading = visits.reindex(columns=[m.name for m in trended()]).notna().any(axis=1)
    fair = visits["reason"].fillna("pm").isin(["pm", "follow-up", "after-repair"])
    return (reading & fair & visits["in_trend"].astype(bool)).to_numpy()
