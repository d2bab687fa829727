"""The yes-or-no facts that the trade rules are made of, worked out for every visit at once.

Current is compared with specification after correction to the specification's stated volts and pressure
(where both are recorded), with own baseline after correction to equal volts and pressure.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from ingest.accuracy import mean_accuracy_a
from ingest.sensitivities import log_ratio, log_volts_ratio, sensitivities

NOMINAL = sensitivities()


def corrected(visits: pd.DataFrame, reference_v: Any, reference_kpa: Any) -> tuple[np.ndarray, np.ndarray]:
    """Return ln current and ln speed at the reference volts and pressure; uncorrected where unknown."""
    with np.errstate(invalid="ignore", divide="ignore"):
        ln_current = np.log(number(visits, "mean_a"))
        ln_speed = np.log(number(visits, "rpm"))
    volts = log_volts_ratio(number(visits, "supply_v"), reference_v)
    pressure = log_ratio(number(visits, "fuel_pressure_kpa"), reference_kpa)
    ln_current = ln_current - NOMINAL.current_volts * volts - NOMINAL.current_pressure * pressure
    return ln_current, ln_speed - NOMINAL.speed_volts * volts - NOMINAL.speed_pressure * pressure


def add_baseline(visits: pd.DataFrame, settings: dict[str, Any]) -> pd.DataFrame:
    """Add each visit's own baseline: the mean of the first healthy readings before it in the same state.

    Adds `ln_a`, `ln_rpm` (at the reference volts and the type's rated pressure), `baseline_ln_a`,
    `baseline_ln_rpm`, `baseline_count` and `baseline_kind` (new | bedding-in | late | none). PWM readings
    meet only those at equal duty (within 5 points). Only PM and after-repair visits in the trend
    make a baseline, and of them none that lies far from the ones before it: a fault must not become its own
    measure.
    """
    out = visits.copy()
    reference_v = float(settings["reference_supply_v"]) * number(out, "system_v", 12.0) / 12.0
    rated_kpa = number(out, "rated_pressure_kpa")
    out["ln_a"], out["ln_rpm"] = corrected(out, reference_v, rated_kpa)
    duty_step = (number(out, "duty_pct") / 5).round()
    group = (
        pd.DataFrame({"pump": out["pump_id"], "state": out["state"], "duty_step": duty_step}, out.index)
        .groupby(["pump", "state", "duty_step"], sort=False, dropna=False)
        .ngroup()
    )
    order = out.sort_values(["pump_id", "visited_on", "visit_id"], kind="stable").index
    keys = group.loc[order]
    trusted = out["in_trend"].fillna(True).astype(bool) & out["reason"].fillna("pm").isin(
        ["pm", "after-repair"]
    )
    for name in ("ln_a", "ln_rpm"):
        values = out[name].loc[order]
        usable = (trusted & out[name].notna()).loc[order].to_numpy()
        first = pd.Series(_first_healthy(keys.to_numpy(), values.to_numpy(), usable, settings), index=order)
        mine = values.where(first, 0.0)
        before_total = mine.groupby(keys).cumsum() - mine
        before_count = first.astype(int).groupby(keys).cumsum() - first.astype(int)
        out[f"baseline_{name}"] = (before_total / before_count.where(before_count > 0)).reindex(out.index)
        if name == "ln_a":
            out["baseline_count"] = before_count.reindex(out.index)
            distance = pd.Series(number(out, "distance_on_pump_km"), index=out.index).loc[order]
            began = distance.where(first & (before_count == 0))
            at_first = began.groupby(keys).transform("max").reindex(out.index)
    kind = np.select(
        [
            out["baseline_count"].to_numpy() == 0,
            at_first.to_numpy() <= settings["baseline_new_km"],
            at_first.to_numpy() <= settings["baseline_bedding_km"],
        ],
        ["none", "new", "bedding-in"],
        default="late",
    )
    out["baseline_kind"] = kind
    return out


def _first_healthy(
    group: np.ndarray, ln_values: np.ndarray, usable: np.ndarray, settings: dict[str, Any]
) -> np.ndarray:
    """Return which readings (n,), in order of time within each group, make its baseline.

    The first usable one does, and each later one that is not far from the mean of those so far, until there
    are `baseline_visits`.
    """
    at = np.flatnonzero(usable)
    place = pd.Series(group[at]).groupby(group[at]).cumcount().to_numpy()
    groups = int(group.max(initial=-1)) + 1
    total, count = np.zeros(groups), np.zeros(groups, int)
    makes = np.zeros(len(group), bool)
    by_place = at[np.argsort(place, kind="stable")]
    for these in np.split(by_place, np.cumsum(np.bincount(place))[:-1]):
        g, v = group[these], ln_values[these]
        change_pct = np.expm1(v - total[g] / np.maximum(count[g], 1)) * 100
        joins = (count[g] == 0) | (
            (count[g] < settings["baseline_visits"]) & (abs(change_pct) <= settings["baseline_far_pct"])
        )
        makes[these[joins]] = True
        total[g[joins]] += v[joins]
        count[g[joins]] += 1
    return makes


def facts(visits: pd.DataFrame, settings: dict[str, Any]) -> pd.DataFrame:
    """Return one bool column per fact for visits prepared by `add_baseline`; unknown is False."""
    mean_a = number(visits, "mean_a")
    rpm = number(visits, "rpm")
    brushed = (visits["motor"].fillna("brushed") != "brushless").to_numpy()
    pwm = (visits["supply"].fillna("direct") == "pwm").to_numpy()
    full_duty = ~pwm | (number(visits, "duty_pct") >= 95)  # an unknown duty can't be compared

    low_a, high_a = number(visits, "current_low_a"), number(visits, "current_high_a")
    ln_at_spec, _ = corrected(visits, number(visits, "spec_at_v"), number(visits, "spec_at_kpa"))
    at_spec_a = np.exp(ln_at_spec)
    edge_a = settings["near_limit_share"] * (high_a - low_a)
    # The book decides nothing within the clamp's accuracy of its limits.
    accuracy_a = _clamp_accuracy_a(visits, at_spec_a, settings)

    type_a = np.where(
        number(visits, "type_pumps") >= settings["type_pumps"], number(visits, "type_a"), np.nan
    )
    unlike_type_pct = abs(mean_a / type_a - 1) * 100

    rpm_low = number(visits, "rpm_low", settings["rpm_low"])
    rpm_high = number(visits, "rpm_high", settings["rpm_high"])
    # Without a turn to average over, the plain figure serves only where no sparks enlarge it.
    few_sparks = number(visits, "sparks_per_s") < settings["few_sparks_per_s"]
    plain = np.where(few_sparks, number(visits, "raw_ripple_pct"), np.nan)
    ripple = np.where(np.isnan(number(visits, "ripple_pct")), plain, number(visits, "ripple_pct"))
    ripple_limit = number(visits, "ripple_limit_pct", settings["ripple_limit_pct"])

    supply_v = number(visits, "supply_v")
    scale = number(visits, "system_v", 12.0) / 12.0
    prime = (visits["state"] == "prime").to_numpy()
    low_supply = scale * np.where(prime, settings["low_supply_prime_v"], settings["low_supply_v"])
    drop_supply, drop_ground = number(visits, "drop_supply_v"), number(visits, "drop_ground_v")

    d_current = np.expm1(number(visits, "ln_a") - number(visits, "baseline_ln_a")) * 100
    d_speed = np.expm1(number(visits, "ln_rpm") - number(visits, "baseline_ln_rpm")) * 100
    some, far = settings["baseline_change_pct"], settings["baseline_far_pct"]
    some_speed = settings["baseline_speed_pct"]

    delivery, pressure = number(visits, "delivery_l_min"), number(visits, "fuel_pressure_kpa")
    rated = number(visits, "rated_pressure_kpa")
    with np.errstate(invalid="ignore"):
        made = {
            "no_current_reading": np.isnan(mean_a),
            "dead": mean_a < settings["dead_a"],
            "current_very_low": full_duty & (at_spec_a < settings["very_low_share"] * low_a),
            "current_below": full_duty & (at_spec_a < low_a - accuracy_a),
            "current_above": full_duty & (at_spec_a > high_a + accuracy_a),
            "current_undecided": full_duty
            & ((at_spec_a < low_a) | (at_spec_a > high_a))
            & (at_spec_a >= low_a - accuracy_a)
            & (at_spec_a <= high_a + accuracy_a),
            "current_near_low": full_duty & (at_spec_a >= low_a) & (at_spec_a < low_a + edge_a),
            "current_near_high": full_duty & (at_spec_a <= high_a) & (at_spec_a > high_a - edge_a),
            "current_fell": d_current < -some,
            "current_fell_far": d_current < -far,
            "current_rose": d_current > some,
            "current_rose_far": d_current > far,
            "current_unlike_type": full_duty
            & (np.isnan(low_a) | np.isnan(high_a))
            & (unlike_type_pct > settings["type_far_pct"]),
            "speed_fell": brushed & (d_speed < -some_speed),
            "speed_fell_far": brushed & (d_speed < -far),
            "speed_rose": brushed & (d_speed > some_speed),
            "speed_low": brushed & full_duty & (rpm < rpm_low),
            "speed_high": brushed & (rpm > rpm_high),
            "ripple_over": brushed & full_duty & (ripple > ripple_limit),
            "supply_low": supply_v < low_supply,
            "supply_good": supply_v >= low_supply,
            "drop_high": (drop_supply > settings["drop_supply_limit_v"])
            | (drop_ground > settings["drop_ground_limit_v"]),
            "drops_passed": (drop_supply <= settings["drop_supply_limit_v"])
            & (drop_ground <= settings["drop_ground_limit_v"]),
            "delivery_good": (delivery >= settings["min_delivery_l_min"]) & ~(pressure < 0.9 * rated),
            "fuel_level_good": number(visits, "fuel_level_pct") >= settings["low_fuel_level_pct"],
            "zeroed": ~np.isnan(number(visits, "zero_a")) | (visits["origin"] == "meter").to_numpy(),
        }
        # Low volts explain low readings, so here the readings count as they were taken.
        made["current_or_speed_low"] = (
            (mean_a < low_a + edge_a)
            | (brushed & (rpm < rpm_low))
            | _fell_uncorrected(visits, "mean_a", some)
        )
    made["delivery_not_good"] = ~made["delivery_good"]
    frame = pd.DataFrame(made, index=visits.index)
    return frame.assign(
        at_spec_a=at_spec_a,
        book_accuracy_a=accuracy_a,
        current_change_pct=d_current,
        speed_change_pct=d_speed,
        ripple_used_pct=ripple,
    )


def _clamp_accuracy_a(visits: pd.DataFrame, mean_a: np.ndarray, settings: dict[str, Any]) -> np.ndarray:
    """How far each mean may be off by its clamp, named in the setting `clamps` or not, and its error; A."""
    known = settings["clamps"]
    names = visits["clamp"] if "clamp" in visits else pd.Series(None, index=visits.index, dtype=object)

    def of(key: str, default: str) -> np.ndarray:
        own = names.map({name: float(clamp.get(key, settings[default])) for name, clamp in known.items()})
        return own.astype(float).fillna(float(settings[default])).to_numpy()

    se_a = number(visits, "mean_a_se", 0.0)
    return mean_accuracy_a(mean_a, se_a, of("pct", "clamp_accuracy_pct"), of("a", "clamp_accuracy_a"))


def _fell_uncorrected(visits: pd.DataFrame, column: str, pct: float) -> np.ndarray:
    first = visits.groupby("pump_id")[column].transform("first").to_numpy(float)
    return number(visits, column) < first * (1 - pct / 100)


def number(visits: pd.DataFrame, column: str, default: float = np.nan) -> np.ndarray:
    """Return a column as float, NaN (or `default`) where missing or absent."""
    if column not in visits:
        return np.full(len(visits), default)
    values = pd.to_numeric(visits[column], errors="coerce").to_numpy(float)
    return np.where(np.isnan(values), default, values)
