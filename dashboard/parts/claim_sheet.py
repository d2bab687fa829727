"""A claim for a pump taken off in warranty, on paper, with what of it nobody recorded."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import pandas as pd

from dashboard.parts.trace_picture import trace_picture
from dashboard.shell.paper import facts_table, sheet
from dashboard.words import formats
from dashboard.words.visit import PART_FOUND, STATES, SUPPLY_AT
from dashboard.words.warranty import CLAIM_STATES, warranty_line
from ingest.capture import Capture
from ingest.settings_in_force import Settings
from ingest.visit.warranty import Warranty

CLAIMABLE_DAYS = 366  # a pump taken off longer ago is no longer brought up
Ask = Callable[..., pd.DataFrame]


def claimable(ask: Ask, warranties: Callable[[list[int]], dict[int, Warranty]]) -> pd.DataFrame:
    """Return the pumps lately taken off that were in warranty and that nobody has claimed for."""
    rows = ask("claimable", since=date.today() - timedelta(days=CLAIMABLE_DAYS))
    known = warranties(rows["pump_id"].astype(int).tolist()) if len(rows) else {}
    inside = [
        int(pump_id) in known and known[int(pump_id)].standing(date.today()) in ("in", "unknown")
        for pump_id in rows["pump_id"]
    ]
    return rows[inside].reset_index(drop=True)


def claim_sheet(
    ask: Ask, warranty: Warranty, settings: Settings, waveform: Callable[[str], Capture | None]
) -> str:
    """Return the sheet of one pump. ask: runs a query of dashboard/sql; waveform: a capture by its hash."""
    own, currency = settings["distance_unit"], settings["currency"]
    pump = ask("claim_facts", pump_id=warranty.pump_id).iloc[0]
    visits = ask("visits_of_pump", pump_id=warranty.pump_id)
    measured = visits[visits["mean_a"].notna()]
    last = measured.iloc[-1] if len(measured) else None
    steps = ask("claim_steps", pump_id=warranty.pump_id)
    about, taken = _about(pump, warranty, own), {} if last is None else _measured(last, own)
    tank = _filter_and_tank(pump, last)
    tables = [("The pump", facts_table(about))]
    if last is not None:
        tables.append((f"Last measured, on {formats.day(last['visited_on'])}", facts_table(taken)))
    if len(told := facts_table(tank)):
        tables.append(("Filter and tank", told))
    if len(steps):
        tables.append(("The claim so far", steps_table(steps, currency)))
    capture = None if last is None or _blank(last["capture_hash"]) else waveform(last["capture_hash"])
    missing = [name for name, value in (about | taken | tank).items() if value in (None, "", formats.UNKNOWN)]
    if last is None:
        missing.append("any reading")
    notes = [f"Not on record: {', '.join(missing)}."] if missing else []
    removed = f", off on {formats.day(pump['removed_on'])}" if not _blank(pump["removed_on"]) else ""
    return sheet(
        f"Claim, unit {formats.place(pump['unit'], pump['position'])}{removed}", tables,
        {"Warranty": warranty_line(warranty, own, date.today())}, notes,
        pictures=[] if capture is None or last is None else trace_picture(last, capture),
    )  # fmt: skip


def steps_table(steps: pd.DataFrame, currency: str) -> pd.DataFrame:
    """Return the steps of a claim as shown."""
    return pd.DataFrame(
        {
            "State": steps["state"].map(CLAIM_STATES),
            "Day": steps["stated_on"].map(formats.day),
            "By": steps["stated_by"].map(_text),
            "Amount": [formats.money(amount, currency) for amount in steps["amount"]],
            "Note": steps["note"].map(_text),
        }
    )


def _about(pump: pd.Series, warranty: Warranty, own: str) -> dict[str, Any]:
    broke_down = {}
    if not _blank(pump["broke_down_on"]):
        broke_down["Broke down on"] = formats.day(pump["broke_down_on"])
    vehicle = " ".join(str(pump[c]) for c in ("year", "make", "model", "engine") if not _blank(pump[c]))
    run = None
    if not (_blank(pump["fitted_odometer_km"]) or warranty.newest_km is None):
        run = warranty.newest_km - pump["fitted_odometer_km"] + float(pump["prior_distance_km"] or 0)
    days = None
    if not (_blank(pump["fitted_on"]) or _blank(pump["removed_on"])):
        days = (pd.Timestamp(pump["removed_on"]) - pd.Timestamp(pump["fitted_on"])).days
    return {
        "Vehicle": vehicle, "VIN": _text(pump["vin"]), "Pump type": pump["pump_type"],
        "Serial number": _text(pump["serial"]), "Lot": _text(pump["lot"]),
        "Fitted on": formats.day(pump["fitted_on"]),
        "Fitted at": formats.distance(_or_none(pump["fitted_odometer_km"]), own),
        "Taken off on": formats.day(pump["removed_on"]),
        "Taken off at": formats.distance(_or_none(pump["removed_odometer_km"]), own),
        "Ran": formats.distance(run, own),
        "In service": formats.UNKNOWN if days is None else formats.count(days, "day"),
        "Why it came off": _plain(pump["removal"]), "Found": _plain(pump["found"]),
        "Cause": _text(pump["cause"]),
    } | broke_down  # fmt: skip


def _measured(visit: pd.Series, own: str) -> dict[str, Any]:
    volts = formats.with_error(visit["supply_v"], None, "V")
    if volts != formats.UNKNOWN:
        volts += f" {SUPPLY_AT.get(visit['supply_v_at'], 'at the pump')}"
    return {
        "Odometer": formats.distance(_or_none(visit["odometer_km"]), own),
        "Engine": STATES.get(visit["state"], ""),
        "Current, average": formats.with_error(visit["mean_a"], visit["mean_a_se"], "A"),
        "Ripple": formats.with_error(visit["ripple_pct"], visit["ripple_pct_se"], "% of average", 1),
        "Speed": formats.with_error(visit["rpm"], visit["rpm_se"], "rpm", 0),
        "Volts": volts,
        "Drop, supply side": formats.with_error(visit["drop_supply_v"], None, "V"),
        "Drop, ground side": formats.with_error(visit["drop_ground_v"], None, "V"),
        "Zero checked": _text(visit["zero_checked"]),
        "Fuel pressure": formats.pressure(_or_none(visit["fuel_pressure_kpa"]), own),
        "Delivery": formats.with_error(visit["delivery_l_min"], None, "L/min"),
        "Clamp or meter": _text(visit["clamp"]),
    }


def _filter_and_tank(pump: pd.Series, visit: pd.Series | None) -> dict[str, Any]:
    of_visit = {} if visit is None else visit.to_dict()
    level = of_visit.get("fuel_level_pct")
    return {
        "Filter": PART_FOUND.get(str(of_visit.get("filter_state")), ""),
        "Filter changed on": formats.day(pump["filter_changed_on"]),
        "Strainer": PART_FOUND.get(str(of_visit.get("strainer")), ""),
        "Strainer changed on": formats.day(pump["strainer_changed_on"]),
        "Tank cleaned on": formats.day(pump["tank_cleaned_on"]),
        "Fuel level": formats.with_error(level, None, "%", 0),
        "Fuel": _text(of_visit.get("fuel_in_tank")),
    }


def _blank(value: Any) -> bool:
    return formats.is_unknown(value)


def _or_none(value: Any) -> Any:
    return None if _blank(value) else value


def _text(value: Any) -> str:
    return "" if _blank(value) else str(value)


def _plain(value: Any) -> str:
    return _text(value).replace("_", " ")
