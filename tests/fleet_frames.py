"""A simulated fleet as the frames a ledger would give, without the detour through files and database."""

from __future__ import annotations

import numpy as np
import pandas as pd

from analytics.past.history import History, build_history
from demo_fleet.dirt import Dirt
from demo_fleet.fleet import KM_PER_MI, SimulatedFleet
from ingest.checking.odometer import clean

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
            "rpm_low": 3400.0,
            "rpm_high": 10000.0,
            "ripple_limit_pct": 15.0,
            "rated_pressure_kpa": 400.0,
            "motor": "brushed",
        }
    )
    v = t["visits"].reset_index(drop=True)
    serial = pumps.set_index("serial")["pump_id"]
    pump_id = v["serial"].map(serial)
    # A reading without serial belongs to the pump in place.
    for i in np.flatnonzero(pump_id.isna()):
        mine = pumps[(pumps["unit"] == v["unit"][i])]
        day = days(v["visited_on"].iloc[[i]]).iloc[0]
        inside = mine[(mine["fitted_day"].fillna(-1e9) <= day) & (mine["removed_day"].fillna(1e9) >= day)]
        if len(inside):
            pump_id[i] = inside["pump_id"].iloc[0]
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
            "duty_step": 20,
            "mean_a": v["mean_a"],
            "ripple_pct": v["ripple_pct"],
            "rpm": v["rpm"],
            "by_meter": False,
            "supply_v": v["supply_v"],
            "fuel_pressure_kpa": v["fuel_pressure_kpa"],
            "fuel_temp_c": v["fuel_temp_c"],
        }
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
