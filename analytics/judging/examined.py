"""What checks recorded about filter, strainer, hose, regulator and connector, carried on until it is renewed.

A visit without any current tells more about the reading before it: it is judged as that reading, with what it
measured itself in place of what was measured then.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from analytics.judging.baseline import number, system_v, text
from ingest.settings_in_force import Settings

# Work that renews each part; a tank cleaned has its strainer looked after.
RENEWS = {
    "filter_state": ("filter",),
    "strainer": ("strainer", "tank_cleaned"),
    "hose": ("hose",),
    "regulator": ("regulator",),
    "connector": ("connector",),
}
_OF_THE_READING = (
    "mean_a", "mean_a_se", "min_a", "max_a", "rpm", "ripple_pct", "ripple_a", "raw_ripple_pct",
    "sparks_per_s", "zero_a", "zero_checked", "origin", "method_version", "state", "commanded", "duty_pct",
    "clamp", "reading_notes", "segment_profile_pct", "speed_steadiness_pct", "sample_rate_hz",
)  # fmt: skip
_BESIDE_IT = (
    "supply_v", "supply_v_at", "drop_supply_v", "drop_ground_v", "fuel_pressure_kpa", "delivery_l_min",
    "delivery_at", "fuel_temp_c", "fuel_level_pct", "fuel_in_tank",
)  # fmt: skip


# What a follow-up or a check takes over, each with where it was read; low volts a new reading reads anew.
_TOGETHER = (
    ("supply_v", "supply_v_at"), ("drop_supply_v",), ("drop_ground_v",), ("fuel_pressure_kpa",),
    ("delivery_l_min", "delivery_at"),
)  # fmt: skip


def carry_readings(
    visits: pd.DataFrame, settings: Settings, services: pd.DataFrame | None = None
) -> pd.DataFrame:
    """Return visits in order of pump and time with `carried`, and the reading before filled in where it
    is; a follow-up or a check has what was measured since that reading, where it measured less itself."""
    out = visits.sort_values(["pump_id", "visited_on", "visit_id"], kind="stable").copy()
    out = _follow_up(out, settings, services)
    has = ~np.isnan(number(out, "mean_a"))
    examined = _examined(out, has)
    if not examined.any():
        return out.assign(carried=False)
    pump = out["pump_id"].to_numpy()
    source = pd.Series(np.where(has, np.arange(len(out)), np.nan)).groupby(pump).ffill().to_numpy()
    days = pd.to_datetime(out["visited_on"]).to_numpy("datetime64[D]")
    at = np.flatnonzero(examined & ~np.isnan(source))
    of = source[at].astype(int)
    recent = (days[at] - days[of]).astype(int) <= int(settings["steps_valid_days"])
    at, of = at[recent], of[recent]
    for name in (*_OF_THE_READING, *_BESIDE_IT):
        if name in out:
            values = out[name].astype(object).to_numpy(copy=True)
            blank = np.array([_blank(values[i]) for i in at], bool) | (name in _OF_THE_READING)
            values[at[blank]] = values[of[blank]]
            out[name] = values
    carried = np.zeros(len(out), bool)
    carried[at] = True
    return out.assign(carried=carried)


def _follow_up(visits: pd.DataFrame, settings: Settings, services: pd.DataFrame | None) -> pd.DataFrame:
    """Fill in what a follow-up or a check without a current did not measure from the visit before, whose
    finding it follows up: not too long ago, with no work done since and, with a reading of its own, in the
    same engine state. In order, so that what was measured bit by bit comes together."""
    read = ~np.isnan(number(visits, "mean_a"))
    may_follow = _examined(visits, read) | ((text(visits, "reason") == "follow-up").to_numpy() & read)
    if not may_follow.any():
        return visits
    pumps = visits["pump_id"].to_numpy()
    rows = np.flatnonzero(np.isin(pumps, pumps[may_follow]))
    at = rows[_follows(visits.iloc[rows], read[rows], may_follow[rows], int(settings["steps_valid_days"]))]
    if not len(at):
        return visits
    unit, days = visits["unit"].astype(str).to_numpy(), pd.to_datetime(visits["visited_on"]).to_numpy()
    at = at[[not _worked_between(services, unit[i], days[i - 1], days[i]) for i in at]]
    least_v = system_v(visits) / 12 * settings["low_supply_v"]
    columns: dict[str, np.ndarray] = {}
    for together in _TOGETHER:
        names = [name for name in together if name in visits]
        told = [visits[name].astype(object).to_numpy(copy=True) for name in names]
        for i in at:
            if not told or not _blank(told[0][i]) or _blank(told[0][i - 1]):
                continue
            if names[0] == "supply_v" and read[i] and float(told[0][i - 1]) < least_v[i - 1]:
                continue
            for values in told:
                values[i] = values[i - 1]
        columns |= dict(zip(names, told, strict=True))
    return visits.assign(**columns)


def _follows(visits: pd.DataFrame, read: np.ndarray, may_follow: np.ndarray, within_days: int) -> np.ndarray:
    """Whether each visit that may follows up the one before of its pump, by day and, if it was `read` itself,
    by engine state (n,)."""
    pump, day = visits["pump_id"], pd.to_datetime(visits["visited_on"])
    alike = np.ones(len(visits), bool)
    for name in ("state", "commanded", "duty_pct"):
        if name in visits:
            value = visits[name].astype(object).where(read)
            before = value.groupby(pump).ffill().groupby(pump).shift()
            alike &= ((value == before) | (value.isna() & before.isna())).to_numpy()
    follows = may_follow & (alike | ~read) & (pump == pump.shift()).to_numpy()
    return np.asarray(follows & ((day - day.shift()) <= pd.Timedelta(days=within_days)).to_numpy())


def _worked_between(
    services: pd.DataFrame | None, unit: str, first: pd.Timestamp, last: pd.Timestamp
) -> bool:
    if services is None:
        return False
    done = pd.to_datetime(services.loc[services["unit"] == unit, "done_on"])
    return bool(((done >= first) & (done <= last)).any())


def _blank(value: Any) -> bool:
    return value is None or (np.ndim(value) == 0 and bool(pd.isna(value)))


def _examined(visits: pd.DataFrame, read: np.ndarray) -> np.ndarray:
    """Whether each visit that is not `read` (n,) says something of its pump or circuit (n,)."""
    out = np.zeros(len(visits), bool)
    if not read.all():
        out[~read] = _says_something(visits[~read])
    return out


def _says_something(visits: pd.DataFrame) -> np.ndarray:
    words = [
        (text(visits, name) != "").to_numpy() for name in (*RENEWS, "check_result", "closes", "fuel_in_tank")
    ]
    figures = [
        ~np.isnan(number(visits, name))
        for name in ("supply_v", "drop_supply_v", "drop_ground_v", "fuel_pressure_kpa", "delivery_l_min",
                     "pressure_hold_kpa", "fuel_level_pct")
    ]  # fmt: skip
    return np.logical_or.reduce([*words, *figures])


def part_facts(visits: pd.DataFrame, services: pd.DataFrame | None) -> dict[str, np.ndarray]:
    """Return `<part>_good` as recorded at each visit, and what was found bad and is not renewed since."""
    facts, bad = {}, {}
    days = pd.to_datetime(visits["visited_on"])
    pump = visits["pump_id"].to_numpy()
    for part, works in RENEWS.items():
        said = text(visits, part)
        facts[f"{part.removesuffix('_state')}_good"] = (said == "good").to_numpy()
        told = said.where(said.isin(["good", "bad"]))
        state = told.groupby(pump).ffill()
        since = days.where(told == "bad").groupby(pump).ffill()
        renewed = (last_work(visits, services, works) >= since).to_numpy()
        bad[part] = ((state == "bad") & ~renewed).to_numpy()
    return facts | {
        "filter_or_strainer_bad": bad["filter_state"] | bad["strainer"],
        "hose_or_regulator_bad": bad["hose"] | bad["regulator"],
        "connector_bad": bad["connector"],
        "no_other_cause": (text(visits, "check_result") == "no_other_cause").to_numpy(),
    }


def last_work(visits: pd.DataFrame, services: pd.DataFrame | None, works: tuple[str, ...]) -> pd.Series:
    """Return the newest day of such work on each visit's unit, NaT without any."""
    mine = np.zeros(0, bool) if services is None else services["work"].isin(works).to_numpy()
    if services is None or not mine.any():
        return pd.Series(pd.NaT, index=visits.index, dtype="datetime64[us]")
    newest = services[mine].groupby("unit")["done_on"].max().to_dict()
    return pd.to_datetime(visits["unit"].map(newest))
