"""A simulated fleet as the frames a ledger would give, without the detour through files and database."""

from __future__ import annotations

import numpy as np
import pandas as pd

from analytics.past.history import History, build_history
from demo_fleet.dirt import Dirt
from demo_fleet.fleet import SimulatedFleet
from demo_fleet.fleet_pumps import KM_PER_MI
from ingest.checking.odometer import clean
from ingest.vocabulary import PARTS

EPOCH = np.datetime64("1970-01-01")


def days(values) -> pd.Series:
    stamps = pd.to_datetime(pd.Series(values).reset_index(drop=True))
    return (stamps - pd.Timestamp(EPOCH)).dt.days.astype(float)


def history_at(fleet: SimulatedFleet, as_of: str | None = None) -> History:
    """The history known on `as_of`; odometers are judged as on loading where the records have dirt."""
    unit = KM_PER_MI if fleet.spec.distance_unit == "mi" else 1.0
    dirty = fleet.spec.dirt != Dirt.none()
    return history_from_tables(fleet.tables, unit, as_of or fleet.spec.until, clean_odometers=dirty)


def history_from_tables(
    t: dict[str, pd.DataFrame], unit: float, as_of: str, *, clean_odometers: bool = False
) -> History:
    """The history known on `as_of` from a fleet folder's tables; `unit`: km in one distance unit of theirs.

    Without `clean_odometers` every odometer is taken as it is.
    """
    cars, types = t["vehicles"].set_index("unit"), t["pump_types"].set_index("pump_type")
    p = t["pumps"].reset_index(drop=True)

    def of_type(name: str, usual: float) -> pd.Series | float:
        return p["pump_type"].map(types[name]) if name in types else usual

    pumps = pd.DataFrame(
        {
            "pump_id": np.arange(len(p)),
            "unit": p["unit"],
            "position": p["position"],
            "pump_type": p["pump_type"],
            "serial": p["serial"],
            "lot": p.get("lot"),
            "run_share": 1.0,
            "prior_km": 0.0,
            "fitted_day": days(p["fitted_on"]),
            "fitted_odometer_km": p["fitted_odometer"].astype(float) * unit,
            "fitted_hours": np.nan,
            "removed_day": days(p["removed_on"]),
            "removed_odometer_km": p["removed_odometer"].astype(float) * unit,
            "removed_hours": np.nan,
            "removal": p["removal"],
            "found": p["found"],
            "class": p["unit"].map(cars["class"]),
            "depot": p["unit"].map(cars["depot"]),
            "system_v": 12.0,
            "clock": "distance",
            "in_service_day": days(p["unit"].map(cars["in_service_on"])),
            "records_day": days(p["unit"].map(cars["records_from"])),
            "retires_day": np.nan,
            "pm_interval_km": p["unit"].map(cars["pm_interval"]) * unit,
            "pm_interval_days": p["unit"].map(cars["pm_interval_days"]),
            "pm_interval_hours": np.nan,
            "current_low_a": p["pump_type"].map(types["current_low_a"]),
            "current_high_a": p["pump_type"].map(types["current_high_a"]),
            "rpm_low": of_type("rpm_low", 3400.0),
            "rpm_high": of_type("rpm_high", 10000.0),
            "ripple_limit_pct": of_type("ripple_limit_pct", 15.0),
            "rated_pressure_kpa": of_type("rated_pressure_kpa", 400.0),
            "motor": "brushed",
        }
    )
    v = t["visits"].reset_index(drop=True)
    pump_id = _pump_read(v, pumps)

    def recorded(name: str) -> pd.Series:
        return v[name] if name in v else pd.Series(np.nan, v.index)

    # Switching shows as ripple below full duty, as in history_visits.sql.
    supply = pump_id.map(p["pump_type"]).map(types["supply"]) if "supply" in types else pd.Series("", v.index)
    switched = supply.eq("pwm") & (recorded("duty_pct").fillna(0) < 95)
    visits = pd.DataFrame(
        {
            "visit_id": np.arange(len(v)),
            "pump_id": pump_id,
            "day": days(v["visited_on"]),
            "odometer_km": v["odometer"] * unit,
            "hours": np.nan,
            "in_trend": True,
            "reason": v["reason"],
            "state": v["state"],
            "duty_step": (recorded("duty_pct") / 5).round().fillna(-1.0).astype(int),
            "ln_feed": _ln_feed(supply, recorded("duty_pct"), recorded("commanded")),
            "low_speed": (supply.eq("two-speed") & recorded("commanded").eq("low")).astype(float),
            "mean_a": v["mean_a"].fillna(recorded("meter_a")),
            "ripple_pct": v["ripple_pct"].where(~switched),
            "rpm": v["rpm"],
            "by_meter": v["mean_a"].isna(),
            "supply_v": v["supply_v"],
            "fuel_pressure_kpa": v["fuel_pressure_kpa"],
            "fuel_temp_c": v["fuel_temp_c"],
            "fuel_level_pct": recorded("fuel_level_pct").astype(float),
        }
        | {
            name: recorded(name).astype(float)
            for name in ("drop_supply_v", "drop_ground_v", "delivery_l_min")
        }
        | {name: recorded(name) for name in ("supply_v_at", "delivery_at", *PARTS, "check_result", "clamp")}
    ).dropna(subset=["pump_id"])
    last = float(days([as_of]).iloc[0])
    if clean_odometers:
        visits["in_trend"] = _trusted(v, p, unit, as_of)[visits.index]
    visits = visits[visits["day"] <= last].sort_values(["pump_id", "day"]).reset_index(drop=True)
    s = t["services"].reset_index(drop=True)
    filters = pd.DataFrame(
        {"unit": s["unit"], "day": days(s["done_on"]), "odometer_km": s["odometer"] * unit, "work": s["work"]}
    )
    filters = filters[filters["day"] <= last]
    points = pd.concat(
        [
            visits.assign(unit=v["unit"].to_numpy()[visits["visit_id"]])[visits["in_trend"]][
                ["unit", "day", "odometer_km"]
            ],
            pumps.rename(columns={"fitted_day": "a"}).assign(
                day=pumps["fitted_day"], odometer_km=pumps["fitted_odometer_km"]
            )[["unit", "day", "odometer_km"]],
            pumps.assign(day=pumps["removed_day"], odometer_km=pumps["removed_odometer_km"])[
                ["unit", "day", "odometer_km"]
            ],
        ]
    ).dropna()
    points = points[points["day"] <= last].groupby(["unit", "day"], as_index=False)["odometer_km"].max()
    points["hours"] = np.nan
    return build_history(pumps, visits, points, filters, int(last))


def _ln_feed(supply: pd.Series, duty_pct: pd.Series, commanded: pd.Series) -> pd.Series:
    """What the drive passes of the supply's volts, as in history_visits.sql."""
    by_duty = np.log(duty_pct.astype(float).where(duty_pct > 0).clip(upper=100) / 100)
    untold = supply.eq("two-speed") & commanded.isna()
    return by_duty.where(supply.eq("pwm"), 0.0).mask(untold)


def _pump_read(visits: pd.DataFrame, pumps: pd.DataFrame) -> pd.Series:
    """The pump of each visit: by serial where the visits tell one, else the one in place on that day.

    After a repair it is the pump just fitted, else the one that ran until then.
    """
    row = np.arange(len(visits))
    pairs = pd.DataFrame({"row": row, "unit": visits["unit"], "day": days(visits["visited_on"])}).merge(
        pumps[["unit", "pump_id", "fitted_day", "removed_day"]], on="unit"
    )
    after = visits["reason"].eq("after-repair").to_numpy()[pairs["row"]]
    on_day = pairs["fitted_day"].eq(pairs["day"]) & ~after
    inside = pairs["fitted_day"].fillna(-1e9).le(pairs["day"]) & pairs["removed_day"].fillna(1e9).ge(
        pairs["day"]
    )
    inside = pairs[inside].assign(
        on_day=on_day[inside], later=after[inside] * pairs["fitted_day"][inside].fillna(-1e9)
    )
    inside = inside.sort_values(
        ["row", "on_day", "later", "pump_id"], ascending=[True, True, False, True], kind="stable"
    )
    found = inside.groupby("row")["pump_id"].first().reindex(row)
    if "serial" in visits:
        found = (
            visits["serial"].map(pumps.dropna(subset="serial").set_index("serial")["pump_id"]).fillna(found)
        )
    return found


def _trusted(visits: pd.DataFrame, pumps: pd.DataFrame, unit: float, as_of: str) -> np.ndarray:
    """Whether each visit's odometer fits the unit's others known on `as_of` (ingest.checking.odometer)."""
    read = pd.concat(
        [
            frame[["unit", on, odometer]].set_axis(["unit", "read_on", "odometer"], axis=1)
            for frame, on, odometer in (
                (visits, "visited_on", "odometer"),
                (pumps, "fitted_on", "fitted_odometer"),
                (pumps, "removed_on", "removed_odometer"),
            )
        ],
        ignore_index=True,
    )
    read["read_on"] = pd.to_datetime(read["read_on"])
    known = read["read_on"] <= pd.Timestamp(as_of)
    read = read.assign(odometer_km=read["odometer"].astype(float) * unit, odometer_entered=read["odometer"])
    trusted = pd.Series(True, index=read.index)
    trusted[known] = clean(read[known])["trusted"]
    return trusted.to_numpy()[: len(visits)]
