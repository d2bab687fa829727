"""Each reading's own baseline: the first good readings of the same pump that it can be compared with.

Compared are readings of one engine state, one commanded speed, duties within a few points, fuel that is or
is not mostly ethanol, and one way of measuring: metrics of another method version, or measured elsewhere,
have a level of their own. A meter's average is held against the captures before it.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from analytics.judging.mended import begins_anew
from ingest.sensitivities import log_ratio, log_volts_ratio, sensitivities
from ingest.settings_in_force import Settings

NOMINAL = sensitivities()
FOUNDING_REASONS = ("pm", "follow-up")  # complaints and repairs bias a sample
# Columns that hold a word of a list (ingest/vocabulary.py), or few different words.
LISTED = (
    "supply_v_at",
    "supply",
    "commanded",
    "state",
    "origin",
    "reason",
    "check_result",
    "zero_checked",
    "motor",
    "delivery_at",
    "fuel_in_tank",
    "fuel",
    "filter",
    "filter_state",
    "strainer",
    "hose",
    "regulator",
    "connector",
)
MUCH_ETHANOL = ("e85", "e100")
WORTH_CODING = 3000
LEAST_BASELINE = 2  # good readings before a change is told from them [P]
METRICS = ("ln_a", "ln_rpm", "ripple_pct")


def number(visits: pd.DataFrame, column: str, default: float = np.nan) -> np.ndarray:
    """Return a column as float, NaN (or `default`) where missing or absent."""
    if column not in visits:
        return np.full(len(visits), default)
    told = visits[column]
    values = (told if told.dtype == float else pd.to_numeric(told, errors="coerce")).to_numpy(float)
    return values if np.isnan(default) else np.where(np.isnan(values), default, values)


def text(visits: pd.DataFrame, column: str, default: str = "") -> pd.Series:
    """Return a column of words, `default` where missing or absent; words of a list stay coded."""
    if column not in visits:
        return pd.Series(default, visits.index, dtype=object if len(visits) < WORTH_CODING else "category")
    words = visits[column]
    if isinstance(words.dtype, pd.CategoricalDtype):
        if default not in words.cat.categories:
            words = words.cat.add_categories([default])
        return words.fillna(default)
    values = words.to_numpy(object)
    return pd.Series(np.where(pd.isna(values), default, values), visits.index, dtype=object)


def coded(visits: pd.DataFrame) -> pd.DataFrame:
    """Return visits with the columns that hold a word of a list coded, which compare many times faster; a few
    visits as they are, where coding costs more than it saves."""
    if len(visits) < WORTH_CODING:
        return visits
    return visits.assign(**{name: visits[name].astype("category") for name in LISTED if name in visits})


def system_v(visits: pd.DataFrame) -> np.ndarray:
    """Return the system's volts, V (n,); a type specified at 20 V or more is fitted to a 24 V system."""
    told = number(visits, "system_v", 12.0)
    return np.where((told < 20) & (number(visits, "spec_at_v") >= 20), 24.0, told)


def pump_volts(visits: pd.DataFrame) -> np.ndarray:
    """Return volts read at the pump, V (n,); NaN where they were read elsewhere or not at all."""
    return np.where(text(visits, "supply_v_at", "pump") == "pump", number(visits, "supply_v"), np.nan)


def full_command(visits: pd.DataFrame) -> np.ndarray:
    """Return whether each pump ran at full command (n,): only then do book values hold."""
    supply = text(visits, "supply", "direct")
    duty, commanded = number(visits, "duty_pct"), text(visits, "commanded")
    return np.select(
        [supply == "pwm", supply == "two-speed"], [duty >= 95, commanded != "low"], default=True
    ).astype(bool)


def much_ethanol(visits: pd.DataFrame) -> np.ndarray:
    """Return whether the tank holds fuel that is mostly ethanol (n,): denser, and more of it is pumped."""
    return fuel_named(text(visits, "fuel_in_tank"), MUCH_ETHANOL)


def fuel_named(fuels: pd.Series, words: tuple[str, ...]) -> np.ndarray:
    """Return whether each fuel's first word is one of these (n,)."""
    codes, named = pd.factorize(fuels)
    return np.array([*(first_word(fuel) in words for fuel in named), False], bool)[codes]


def first_word(fuel: object) -> str:
    """Return by what a fuel is known, such as "e10" of "E10 regular"."""
    return str(fuel).strip().lower().split(" ")[0]


def corrected(
    visits: pd.DataFrame, reference_v: Any, reference_kpa: Any, settings: Settings
) -> tuple[np.ndarray, np.ndarray]:
    """Return ln current and ln speed at the reference volts and pressure; uncorrected where unknown."""
    with np.errstate(invalid="ignore", divide="ignore"):
        ln_current = np.log(np.maximum(number(visits, "mean_a"), 1e-3))
        ln_speed = np.log(np.maximum(number(visits, "rpm"), 1.0))
    volts = np.where(full_command(visits), pump_volts(visits), np.nan)
    correction = log_volts_ratio(volts, reference_v)
    # A pressure that is itself the complaint explains no current away.
    share = number(visits, "fuel_pressure_kpa") / number(visits, "rated_pressure_kpa")
    odd = (share < settings["pressure_good_share"]) | (share > settings["pressure_high_share"])
    kpa = np.where(odd, np.nan, number(visits, "fuel_pressure_kpa"))
    pressure = log_ratio(kpa, reference_kpa)
    ln_current = ln_current - NOMINAL.current_volts * correction - NOMINAL.current_pressure * pressure
    return ln_current, ln_speed - NOMINAL.speed_volts * correction - NOMINAL.speed_pressure * pressure


def add_levels(visits: pd.DataFrame, settings: Settings) -> pd.DataFrame:
    """Add `ln_a` and `ln_rpm` at reference volts and the type's rated pressure, and the numbers of the
    readings that each may be compared with (`compares_with`) and those measured alike in any engine state
    (`measured_with`), and the volts at the pump before each (`volts_before`); visits in order of pump and
    time."""
    out = visits.copy()
    reference_v = float(settings["reference_supply_v"]) * system_v(out) / 12.0
    out["ln_a"], out["ln_rpm"] = corrected(out, reference_v, number(out, "rated_pressure_kpa"), settings)
    two_speed = text(out, "supply", "direct") == "two-speed"
    key = pd.DataFrame(
        {
            "pump": out["pump_id"],
            "state": text(out, "state"),
            "commanded": text(out, "commanded").where(two_speed, ""),
            "ethanol": much_ethanol(out),
            "source": _source(out),
        },
        out.index,
    )
    out["compares_with"] = key.groupby(list(key.columns), sort=False).ngroup()
    out["measured_with"] = key.groupby(["pump", "source"], sort=False).ngroup()
    out["volts_before"] = _volts_before(out)
    return out


def _volts_before(visits: pd.DataFrame) -> np.ndarray:
    """Return the mean of the volts at the pump of the readings before each that it compares with, V (n,); NaN
    where fewer than LEAST_BASELINE told them."""
    volts = pd.Series(np.where(full_command(visits), pump_volts(visits), np.nan))
    group = visits["compares_with"].to_numpy()
    told = volts.notna().astype(int)
    count = told.groupby(group).cumsum() - told
    before = volts.fillna(0.0).groupby(group).cumsum() - volts.fillna(0.0)
    return (before / count.where(count >= LEAST_BASELINE)).to_numpy(float)


def _source(visits: pd.DataFrame) -> pd.Series:
    """How the metrics came about; a meter goes with the captures before it."""
    origin = text(visits, "origin", "capture").astype(object)
    version = text(visits, "method_version", "0").astype(str)
    source = (origin + version.where(origin == "capture", "")).where(~origin.isin(["meter", ""]))
    return source.groupby(visits["pump_id"]).ffill().fillna("capture")


def add_baseline(
    visits: pd.DataFrame, sound: np.ndarray, settings: Settings, services: pd.DataFrame | None = None
) -> pd.DataFrame:
    """Add each visit's own baseline: the mean of the first good readings before it that it compares with.

    visits: from `add_levels`. sound: whether each visit's own verdict is no fault, baselines apart. services:
    unit, done_on, work, by which a baseline of a fault since mended starts anew (`begins_anew`). Adds
    `baseline_ln_a`, `baseline_ln_rpm`, `baseline_ripple_pct`, `baseline_count` (of average currents),
    `baseline_rpm_count`, `baseline_kind` (new | bedding-in | late | none) and `founds`. Readings far from
    those before them found none: a fault must not become its own measure.
    """
    group, values = visits["compares_with"].to_numpy(), _values(visits)
    out = _with_baselines(visits, sound, values, group, settings)
    if services is None or not len(services):
        return out
    mean = out[[f"baseline_{name}" for name in METRICS]].to_numpy(float)
    anew = begins_anew(out, sound, _joins(values, mean, ~np.isnan(mean), settings), services)
    if not anew.any():
        return out
    again = np.isin(group, group[anew])
    since = pd.Series(anew).groupby(group).cumsum().to_numpy()
    parted, _ = pd.factorize(pd.MultiIndex.from_arrays([group[again], since[again]]))
    made = _with_baselines(visits[again], sound[again], values[again], parted, settings)
    added = made.columns.difference(visits.columns)
    out.loc[again, added] = made[added]
    return out


def add_other_state(visits: pd.DataFrame) -> pd.DataFrame:
    """Add what a reading without an engine state may be held beside: the baseline of its pump's last reading
    before it whose state is known, where all of those are of one state.

    visits: from `add_baseline`. Adds `other_state` ("" where there is none), `other_state_ln_a` and
    `other_state_ripple_pct`.
    """
    state = text(visits, "state").astype(object)
    untold = (state == "").to_numpy()
    out = visits.assign(other_state="", other_state_ln_a=np.nan, other_state_ripple_pct=np.nan)
    if not untold.any() or untold.all():
        return out
    group, known = visits["measured_with"], state.where(~untold)
    before = known.groupby(group).ffill()
    kinds = sum((known == name).groupby(group).cummax().astype(int) for name in known.dropna().unique())
    serves = untold & before.notna().to_numpy() & (kinds == 1).to_numpy()
    serves &= (text(visits, "supply", "direct") == "direct").to_numpy()
    if not serves.any():
        return out
    for name in ("ln_a", "ripple_pct"):
        enough = visits["baseline_count" if name == "ln_a" else "baseline_ripple_count"] >= LEAST_BASELINE
        mean = visits[f"baseline_{name}"].where(~untold & enough)
        out.loc[serves, f"other_state_{name}"] = mean.groupby(group).ffill()[serves]
    out.loc[serves, "other_state"] = before[serves]
    return out


def _values(visits: pd.DataFrame) -> np.ndarray:
    return np.column_stack([visits["ln_a"], visits["ln_rpm"], number(visits, "ripple_pct")])


def _with_baselines(
    visits: pd.DataFrame, sound: np.ndarray, values: np.ndarray, group: np.ndarray, settings: Settings
) -> pd.DataFrame:
    out = visits.copy()
    founding = text(out, "reason", "pm").isin(FOUNDING_REASONS) & out["in_trend"].fillna(True).astype(bool)
    usable = founding.to_numpy() & sound & out["ln_a"].notna().to_numpy() & ~_flag(out, "carried")
    duty = np.where(text(out, "supply", "direct") == "pwm", number(out, "duty_pct"), np.nan)
    plain = np.isnan(duty)
    founds = np.zeros(len(out), bool)
    mean = np.full((len(out), 3), np.nan)
    count = np.zeros((len(out), 3), int)
    began_km = np.full(len(out), np.nan)
    distance = number(out, "distance_on_pump_km")
    for rows in (np.flatnonzero(plain), np.flatnonzero(~plain)):
        if len(rows):
            run = _by_place if plain[rows[0]] else _by_duty
            run(rows, group, duty, values, usable, distance, founds, mean, count, began_km, settings)
    out["founds"] = founds
    for i, name in enumerate(METRICS):
        out[f"baseline_{name}"] = mean[:, i]
    out["baseline_count"], out["baseline_rpm_count"], out["baseline_ripple_count"] = count.T
    out["baseline_kind"] = np.select(
        [
            count[:, 0] == 0,
            began_km <= settings["baseline_new_km"],
            began_km <= settings["baseline_bedding_km"],
        ],
        ["none", "new", "bedding-in"],
        default="late",
    )
    return out


def _flag(visits: pd.DataFrame, column: str) -> np.ndarray:
    return visits[column].to_numpy(bool) if column in visits else np.zeros(len(visits), bool)


def _joins(value: np.ndarray, mean: np.ndarray, count: np.ndarray, settings: Settings) -> np.ndarray:
    """Whether readings (n, 3) lie near enough the means (n, 3) of those before, in every metric."""
    far = float(settings["baseline_far_pct"])
    with np.errstate(invalid="ignore"):
        apart = np.abs(np.expm1(value[:, :2] - mean[:, :2])) * 100 > far
        jumped = value[:, 2:] - mean[:, 2:] > settings["ripple_jump_points"]
    return ~np.any(np.hstack([apart, jumped]) & (count > 0), axis=1)


def _by_place(
    rows: np.ndarray,
    group: np.ndarray,
    _duty: np.ndarray,
    values: np.ndarray,
    usable: np.ndarray,
    distance: np.ndarray,
    founds: np.ndarray,
    mean: np.ndarray,
    count: np.ndarray,
    began_km: np.ndarray,
    settings: Settings,
) -> None:
    """Fill in the baselines of `rows`, all groups at once, one place in time after the other."""
    code, names = pd.factorize(group[rows])
    place = pd.Series(code).groupby(code).cumcount().to_numpy()
    total, seen = np.zeros((len(names), 3)), np.zeros((len(names), 3), int)
    began = np.full(len(names), np.nan)
    order = np.argsort(place, kind="stable")
    for these in np.split(order, np.cumsum(np.bincount(place))[:-1]):
        at, g = rows[these], code[these]
        so_far = np.where(seen[g] > 0, total[g] / np.maximum(seen[g], 1), np.nan)
        mean[at], count[at], began_km[at] = so_far, seen[g], began[g]
        joins = usable[at] & (seen[g, 0] < settings["baseline_visits"])
        joins &= _joins(values[at], so_far, seen[g], settings)
        founds[at[joins]] = True
        g, v = g[joins], values[at[joins]]
        began[g] = np.where(seen[g, 0] == 0, distance[at[joins]], began[g])
        total[g] += np.nan_to_num(v)
        seen[g] += ~np.isnan(v)


def _by_duty(
    rows: np.ndarray,
    group: np.ndarray,
    duty: np.ndarray,
    values: np.ndarray,
    usable: np.ndarray,
    distance: np.ndarray,
    founds: np.ndarray,
    mean: np.ndarray,
    count: np.ndarray,
    began_km: np.ndarray,
    settings: Settings,
) -> None:
    """Fill in the baselines of pulsed pumps: of the earlier readings whose duty is near enough."""
    within, most = float(settings["duty_within_points"]), int(settings["baseline_visits"])
    for at in pd.Series(rows).groupby(group[rows]).indices.values():
        mine = rows[at]
        for k, row in enumerate(mine):
            before = mine[:k]
            near = before[founds[before] & (np.abs(duty[before] - duty[row]) <= within)][:most]
            known = ~np.isnan(values[near])
            count[row] = known.sum(0)
            sums = np.nan_to_num(values[near]).sum(0)
            mean[row] = np.where(count[row] > 0, sums / np.maximum(count[row], 1), np.nan)
            began_km[row] = distance[near[0]] if len(near) else np.nan
            joins = _joins(values[[row]], mean[[row]], count[[row]], settings)[0]
            founds[row] = usable[row] and len(near) < most and joins
